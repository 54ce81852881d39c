"""What a case is: a source made in code, and what an intake of it has to say."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd

from hydrantgis.intake.take import Intake, take
from hydrantgis.intake.words import IntakeWords

from .makers import FT, spot

if TYPE_CHECKING:
    from hydrantgis.ground.errors import HydrantGISError

TODAY = dt.date(2026, 11, 1)

Make = Callable[[Path], "Path | str"]


@dataclass(frozen=True, kw_only=True)
class Case:
    """
    One source and what is promised of it.

    Attributes
    ----------
    promise
        The name of the case.
    make
        Writes the source into a folder and names it.
    said
        What the user says, as for `IntakeWords`.
    error, tells
        The error's class and what its words must match; no row comes in then.
    rows
        Accepted, held, rejected.
    codes
        Every finding code and how often; unused fields are not counted.
    aside
        The row's number and why it was not accepted.
    values
        Canonical column and what the accepted rows hold, in order of rows.
    known
        Ids of the hydrants in the register, each at its own `spot`.
    points
        Where the accepted rows lie, None for one without a place. [CRS]
    crs
        What the record says of the CRS, and who named it.
    says
        What the messages of the findings must match.
    """

    promise: str
    make: Make
    kind: str = "hydrants"
    said: Mapping[str, Any] = field(default_factory=dict)
    known: Sequence[str] | None = None
    error: type[HydrantGISError] | None = None
    tells: str = ""
    rows: tuple[int, int, int] = (0, 0, 0)
    codes: Mapping[str, int] = field(default_factory=dict)
    aside: Mapping[int, str] = field(default_factory=dict)
    values: Mapping[str, Sequence[object]] = field(default_factory=dict)
    points: Sequence[tuple[float, float] | None] | None = None
    crs: tuple[str, str] | None = None
    says: str = ""

    def run(self, folder: Path) -> Intake:
        """The intake of the source."""
        source = self.make(folder)
        said = IntakeWords(**self.said)
        return take(str(source), self.kind, said, today=TODAY, stands=self.stands())

    def stands(self) -> gpd.GeoDataFrame | None:
        """The hydrants of the register, each at its own spot."""
        if self.known is None:
            return None
        points = gpd.points_from_xy(*zip(*(spot(n) for n in range(len(self.known))), strict=True))
        ids = pd.Series(self.known, dtype="str")
        return gpd.GeoDataFrame({"hydrant_id": ids}, geometry=points, crs=FT)


def refused(
    promise: str, make: Make, error: type[HydrantGISError], tells: str, **more: Any
) -> Case:
    """A source that cannot be used, and what is said about it."""
    return Case(promise=promise, make=make, error=error, tells=tells, **more)
