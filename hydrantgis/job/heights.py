"""
The height that stands for every hydrant of a register, from all that was ever surveyed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.results import GRADES
from hydrantgis.ground.tables import READINGS, SURFACES, WORKS
from hydrantgis.ground.text import datum_key
from hydrantgis.heights.basis import standing
from hydrantgis.heights.changes import (
    SurfaceGrade,
    carried_forward,
    last_built,
    terrain_change,
    works_change,
)
from hydrantgis.heights.grade import GradeFit, grade_at
from hydrantgis.heights.outlet import ReadingHeights, reading_heights
from hydrantgis.heights.shots import readings_of_shots
from hydrantgis.intake.datums import shift_between
from hydrantgis.intake.systems import to_degrees
from hydrantgis.standards.methods import GRADE_SHOT_SD_FT, METHODS

if TYPE_CHECKING:
    from collections.abc import Callable

    import pyproj
    from numpy.typing import NDArray

    from hydrantgis.register.store import Register
    from hydrantgis.standards.rules import HeightRule


SHOT_RADIUS_FT = 25.0
"""Ground shots farther from a hydrant than this do not tell its grade. [ft]"""


@dataclass(frozen=True, slots=True)
class Heights:
    """
    Heights of the hydrants and what they rest on.

    Attributes
    ----------
    hydrants
        The `hydrants` table.
    basis
        Their heights, same index; see `hydrantgis.heights.basis.basis_heights`.
    grades
        Grade from shots, by datum.
    terrains
        What terrain models tell, the newest first.
    told
        Every reading as the rule asks for it.
    changed_on
        The last day on which works changed the grade, NaT where none did; shape (n,).
        [datetime64[D]]
    findings
        What was noticed.
    """

    hydrants: gpd.GeoDataFrame
    basis: pd.DataFrame
    grades: dict[str, GradeFit]
    terrains: list[SurfaceGrade]
    told: ReadingHeights
    changed_on: NDArray[np.datetime64]
    findings: pd.DataFrame

    def grade_table(self) -> pd.DataFrame:
        """The `grades` table: a row for each hydrant and datum with shots."""
        parts = []
        for datum, fit in self.grades.items():  # a datum or two
            told = fit.shots > 0
            parts.append(
                pd.DataFrame(
                    {
                        "hydrant_id": self.hydrants["hydrant_id"].to_numpy(dtype=object),
                        "vertical_datum": datum, "grade_elev_ft": fit.elev_ft,
                        "grade_sd_ft": fit.sd_ft, "fit": fit.fit, "shots": fit.shots,
                        "slope": fit.slope, "residual_ft": fit.residual_ft,
                        "highest_ft": fit.highest_ft, "lowest_ft": fit.lowest_ft,
                    }
                )[told]
            )  # fmt: skip
        return GRADES.conform(pd.concat(parts, ignore_index=True)) if parts else GRADES.empty()


def heights_of(store: Register, rule: HeightRule) -> Heights:
    """
    The height that stands for every hydrant.

    Parameters
    ----------
    store
        The register.
    rule
        Which outlet, which point of it, from which datum.

    Raises
    ------
    HydrantGISError
        The register cannot be read.
    """
    hydrants, readings = store.hydrants(), store.readings()
    flat, laid = _on_plane(hydrants, store.crs)
    ground = store.ground_shots()
    grades, outliers = _grades(hydrants, ground, flat, laid)
    shots = store.hydrant_shots()
    shot, on_shots = readings_of_shots(
        hydrants, shots, flat, laid(shots), grades, ground_of=rule.ground
    )
    if len(shot):
        readings = READINGS.conform(pd.concat([readings, shot], ignore_index=True))
    terrains = surfaces_of(store, hydrants, "terrain")
    names = [*ground["vertical_datum"].dropna().unique(), *(t.vertical_datum for t in terrains)]
    grounds = list({datum_key(name): name for name in reversed(names)}.values())
    readings, on_datums = _in_datum_of_ground(hydrants, readings, grounds)
    told = reading_heights(hydrants, readings, rule, grades=grades, terrains=terrains)
    basis, on_heights = standing(hydrants, told, rule)
    works = gpd.GeoDataFrame(store.read(WORKS))
    changed_on = last_built(hydrants.geometry, works)
    since = basis["grade_date"].to_numpy().astype("datetime64[D]")
    # works that were built tell the change better than terrain
    change = works_change(hydrants.geometry, works, since).or_else(
        terrain_change(terrains, since, changed_on=changed_on)
    )
    basis, on_changes = carried_forward(hydrants, basis, change, rule)
    noticed = join_findings(outliers, on_shots, on_datums, on_heights, on_changes)
    return Heights(hydrants, basis, grades, terrains, told, changed_on, noticed)


def _on_plane(
    hydrants: gpd.GeoDataFrame, crs: pyproj.CRS
) -> tuple[NDArray[np.float64], Callable[[pd.DataFrame], NDArray[np.float64]]]:
    """Where the hydrants stand on a plane, and what lays rows of `x` and `y` on the same. [ft]"""
    here = xy(hydrants.geometry)
    to_plane = plane_ft(here, crs)

    def laid(rows: pd.DataFrame) -> NDArray[np.float64]:
        return np.column_stack(to_plane.transform(rows["x"].to_numpy(), rows["y"].to_numpy()))

    return np.column_stack(to_plane.transform(here[:, 0], here[:, 1])), laid


def _grades(
    hydrants: gpd.GeoDataFrame,
    shots: pd.DataFrame,
    flat: NDArray[np.float64],
    laid: Callable[[pd.DataFrame], NDArray[np.float64]],
) -> tuple[dict[str, GradeFit], pd.DataFrame]:
    """Grade at the hydrants from the ground shots, by datum, and shots that were left out."""
    ground = shots[shots["x"].notna() & shots["vertical_datum"].notna()]
    key = ground["vertical_datum"].map({n: datum_key(n) for n in ground["vertical_datum"].unique()})
    fits: dict[str, GradeFit] = {}
    notes = [no_findings()]
    for name, part in ground.groupby(key, sort=True):  # a datum or two
        fits[str(name)] = fit = grade_at(
            flat,
            laid(part),
            part["elev_ft"],
            part["elev_sd_ft"].fillna(GRADE_SHOT_SD_FT),
            radius_ft=SHOT_RADIUS_FT,
            days=part["shot_date"].to_numpy().astype("datetime64[D]"),
        )
        at = hydrants["hydrant_id"].to_numpy(dtype=object)[fit.outlier_hydrant]
        notes.append(
            findings(
                "grade-outlier", table="shots",
                keys=part["shot_id"].to_numpy(dtype=object)[fit.outlier_shot], column="elev_ft",
                values=[f"{v:g}" for v in part["elev_ft"].to_numpy()[fit.outlier_shot]],
                messages=[f"left out of the grade at hydrant {name}" for name in at],
            )
        )  # fmt: skip
    return fits, join_findings(*notes)


def _in_datum_of_ground(
    hydrants: gpd.GeoDataFrame, readings: pd.DataFrame, grounds: list[str]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Outlet elevations in a datum in which the ground is known, where the way there is known.

    A reading with a grade of its own is a height already, whatever its datum.
    """
    alone = readings["outlet_elev_ft"].notna() & readings["grade_elev_ft"].isna()
    alone &= readings["outlet_height_in"].isna()
    datum = readings["vertical_datum"].map(datum_key, na_action="ignore")
    strange = alone & datum.notna() & ~datum.isin([datum_key(name) for name in grounds])
    if not strange.any() or not grounds or hydrants.crs is None:
        return readings, no_findings()
    lon, lat = to_degrees(xy(hydrants.geometry), hydrants.crs)
    at = pd.Index(hydrants["hydrant_id"]).get_indexer(pd.Index(readings["hydrant_id"]))
    result, notes = readings.copy(), [no_findings()]
    typical = readings["method"].map({name: m.sd_in for name, m in METHODS.items()})
    for name in readings["vertical_datum"][strange].unique():  # a datum or two
        told = [(ground, shift_between(name, ground, lon, lat)) for ground in grounds]
        ground, shift = next(((g, s) for g, s in told if not s.why_not), told[0])
        rows = strange & (readings["vertical_datum"] == name) & (at >= 0)
        if shift.why_not:
            notes.append(
                findings(
                    "datum-not-converted", table="readings", keys=["(all)"], values=[name],
                    messages=f"{name} into {ground}: {shift.why_not}",
                )
            )  # fmt: skip
            continue
        rows &= np.isfinite(shift.shift_ft[at])  # what lies between two datums needs a place
        result.loc[rows, "outlet_elev_ft"] += shift.shift_ft[at[rows]]
        part = readings["height_sd_in"].fillna(typical / math.sqrt(2))
        result.loc[rows, "height_sd_in"] = np.hypot(part[rows], shift.sd_ft * 12.0)
        result.loc[rows, "vertical_datum"] = ground
        notes.append(
            findings(
                "datum-converted", table="readings", keys=["(all)"], values=[name],
                messages=f"{int(rows.sum()):,} elevations in {name} were converted into {ground} "
                f"by {shift.by}, accurate to {shift.sd_ft:.2f} ft",
            )
        )  # fmt: skip
    return result, join_findings(*notes)


def surfaces_of(store: Register, hydrants: pd.DataFrame, role: str) -> list[SurfaceGrade]:
    """
    What the surfaces of a role tell at the hydrants, the newest first.

    Parameters
    ----------
    store
        The register.
    hydrants
        The `hydrants` table.
    role
        One of `SURFACE_ROLES`.
    """
    rows = store.read(SURFACES)
    told: list[SurfaceGrade] = []
    for name, part in rows[rows["role"] == role].groupby("surface", sort=True):  # a few
        at = part.set_index("hydrant_id").reindex(hydrants["hydrant_id"])
        told.append(
            SurfaceGrade(
                str(name),
                part["surface_date"].iloc[0].to_numpy().astype("datetime64[D]"),
                at["elev_ft"].to_numpy(dtype=np.float64),
                at["elev_sd_ft"].to_numpy(dtype=np.float64),
                str(part["vertical_datum"].iloc[0]),
            )
        )
    undated = np.datetime64("0001-01-01")
    told.sort(key=lambda s: undated if np.isnat(s.on) else s.on, reverse=True)
    return told
