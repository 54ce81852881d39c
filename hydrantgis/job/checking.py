"""
Verdict and remedy of every hydrant in a register.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.assess import check as assess
from hydrantgis.deliver.provenance import provenance
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.tables import (
    AREAS,
    CHECKED,
    EXCEPTIONS,
    MAINS,
    PROVENANCE,
    READINGS,
    SURFACES,
    WORKS,
)
from hydrantgis.heights.changes import (
    SurfaceGrade,
    carried_forward,
    terrain_change,
    works_change,
)
from hydrantgis.heights.grade import GradeFit, grade_at
from hydrantgis.heights.outlet import basis_heights, datum_key
from hydrantgis.heights.shots import readings_of_shots
from hydrantgis.job.moment import quiet
from hydrantgis.job.standing import standards_for, texts_of
from hydrantgis.register.geopackage import write_geopackage
from hydrantgis.register.store import Register
from hydrantgis.season.areas import area_of
from hydrantgis.standards.methods import GRADE_SHOT_SD_FT

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    import pyproj
    from numpy.typing import NDArray

    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.rules import HeightRule


SHOT_RADIUS_FT = 25.0
"""Ground shots farther from a hydrant than this do not tell its grade. [ft]"""


@dataclass(frozen=True, slots=True)
class Checked:
    """
    The result of a check.

    Attributes
    ----------
    table
        The `checked` table.
    hydrants, areas, mains
        What it was made from, for maps and lists.
    exceptions
        Rows that never came into the register, and findings of the check.
    findings
        What the check noticed.
    provenance
        What the result rests on.
    moment
        When the register was last added to; files are stamped with it.
    """

    table: gpd.GeoDataFrame
    hydrants: gpd.GeoDataFrame
    areas: gpd.GeoDataFrame
    mains: gpd.GeoDataFrame
    exceptions: gpd.GeoDataFrame
    findings: pd.DataFrame
    provenance: pd.DataFrame
    rule: HeightRule
    kits: KitCatalogue
    moment: dt.datetime

    def counts(self) -> dict[str, int]:
        """How many hydrants, how many judged and measured, how many of each verdict."""
        verdict = self.table["verdict"]
        by = verdict.value_counts()
        each = {name: int(by.get(name, 0)) for name in CHECKED["verdict"].allowed}
        return {
            "hydrants": len(verdict),
            "not_judged": int(verdict.isna().sum()),
            "measured": sum(each.values()) - each["unmeasured"],
            **each,
        }

    def write(self, path: Path | str) -> None:
        """Write the GeoPackage: checked, exceptions, provenance."""
        write_geopackage(
            Path(path),
            [(CHECKED, self.table), (EXCEPTIONS, self.exceptions), (PROVENANCE, self.provenance)],
            moment=self.moment,
        )


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


def _carried(
    hydrants: gpd.GeoDataFrame,
    basis: pd.DataFrame,
    terrains: list[SurfaceGrade],
    works: gpd.GeoDataFrame,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Heights carried over what changed the grade since: works that were built, else terrain."""
    since = basis["grade_date"].to_numpy().astype("datetime64[D]")
    built = works_change(hydrants.geometry, works, since)
    return carried_forward(hydrants, basis, built.or_else(terrain_change(terrains, since)))


def check(
    register: Path | str,
    *,
    rule: str | None = None,
    kits: str | None = None,
    outlet: str | None = None,
    command: str = "library call",
    tell: Callable[[str], None] = quiet,
) -> Checked:
    """
    Verdict and remedy of every hydrant in the register.

    Parameters
    ----------
    register
        The register's file.
    rule, kits
        An id that ships or a TOML file; where None, what the register keeps.
    outlet
        Which outlet is judged, where the rule leaves it open.
    command
        What was typed, for the provenance.
    tell
        Told each stage of the work.

    Raises
    ------
    HydrantGISError
        No rule or kits are named, or the register cannot be read.
    """
    store = Register(Path(register))
    height_rule, catalogue = standards_for(store, rule, kits)
    height_rule = height_rule.judging(outlet)
    tell(f"reading {store.path.name}")
    hydrants, readings = store.hydrants(), store.readings()
    areas = gpd.GeoDataFrame(store.read(AREAS))
    tell("heights")
    flat, laid = _on_plane(hydrants, store.crs)
    grades, outliers = _grades(hydrants, store.ground_shots(), flat, laid)
    shots = store.hydrant_shots()
    shot, on_shots = readings_of_shots(hydrants, shots, flat, laid(shots), grades)
    if len(shot):
        readings = READINGS.conform(pd.concat([readings, shot], ignore_index=True))
    terrains = surfaces_of(store, hydrants, "terrain")
    basis, on_heights = basis_heights(
        hydrants, readings, height_rule, grades=grades, terrains=terrains
    )
    basis, on_changes = _carried(hydrants, basis, terrains, gpd.GeoDataFrame(store.read(WORKS)))
    tell("verdicts and remedies")
    area_ids, on_areas = area_of(hydrants, areas)
    table, on_hydrants = assess.check(
        hydrants, basis, rule=height_rule, kits=catalogue, area_ids=area_ids
    )
    noticed = join_findings(outliers, on_shots, on_heights, on_changes, on_areas, on_hydrants)
    return Checked(
        table=table,
        hydrants=hydrants,
        areas=areas,
        mains=gpd.GeoDataFrame(store.read(MAINS)),
        exceptions=_exceptions(store, noticed, hydrants),
        findings=noticed,
        provenance=provenance(
            store, height_rule, catalogue, texts=texts_of(store, rule, kits), command=command
        ),
        rule=height_rule,
        kits=catalogue,
        moment=store.recorded_at(),
    )


def _exceptions(
    store: Register, noticed: pd.DataFrame, hydrants: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Rows put aside at intake, then what the check noticed, at the hydrant where it is one."""
    where = pd.Series(hydrants.geometry.array, index=hydrants["hydrant_id"])
    flagged = noticed.assign(outcome="flagged")
    # a shot may have the number of a hydrant
    keys = flagged["key"].where(flagged["table"].isin(["hydrants", "readings", "checked"]))
    points = gpd.GeoSeries(keys.map(where).to_numpy(dtype=object), crs=store.crs)
    told = EXCEPTIONS.conform(gpd.GeoDataFrame(flagged, geometry=points))
    both = [frame for frame in (store.exceptions(), told) if len(frame)]
    if not both:
        return gpd.GeoDataFrame(EXCEPTIONS.empty(store.crs))
    frame = EXCEPTIONS.conform(gpd.GeoDataFrame(pd.concat(both, ignore_index=True)))
    return gpd.GeoDataFrame(frame).set_crs(store.crs, allow_override=True)
