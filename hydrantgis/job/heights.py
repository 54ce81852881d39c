"""
The height that stands for every hydrant of a register, from all that was ever surveyed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.results import GRADES, OUTLET_HEIGHTS
from hydrantgis.ground.tables import OUTLETS, READINGS, SURFACES, WORKS
from hydrantgis.ground.text import datum_key, fill
from hydrantgis.heights.basis import standing
from hydrantgis.heights.carry import carried_forward, older_than_kit, undated_over
from hydrantgis.heights.changes import (
    Change,
    SurfaceGrade,
    last_built,
    shots_change,
    terrain_change,
    works_change,
)
from hydrantgis.heights.epochs import TOLD_APART
from hydrantgis.heights.grade import grade_at
from hydrantgis.heights.outlet import ReadingHeights, reading_heights
from hydrantgis.heights.shots import readings_of_shots
from hydrantgis.intake.datums import shift_between
from hydrantgis.intake.systems import to_degrees
from hydrantgis.standards.methods import GRADE_SHOT_SD_FT, METHODS

if TYPE_CHECKING:
    from collections.abc import Callable

    import pyproj
    from numpy.typing import NDArray

    from hydrantgis.heights.gradefit import GradeFit
    from hydrantgis.register.store import Register
    from hydrantgis.standards.rules import HeightRule


BEFORE_ALL = np.datetime64("0001-01-01", "D")
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
    readings
        The `readings` table, with those that shots on hydrants make.
    changed_on
        The last day on which works changed the grade, NaT where none did; shape (n,).
        [datetime64[D]]
    fitted_on
        The last day on which the hydrant got another extension, NaT where it never did; shape (n,).
        [datetime64[D]]
    carried
        Whether the height was carried over a change of grade; shape (n,).
    findings
        What was noticed.
    """

    hydrants: gpd.GeoDataFrame
    basis: pd.DataFrame
    grades: dict[str, GradeFit]
    terrains: list[SurfaceGrade]
    readings: pd.DataFrame
    changed_on: NDArray[np.datetime64]
    fitted_on: NDArray[np.datetime64]
    carried: NDArray[np.bool_]
    findings: pd.DataFrame

    def of_their_days(self, rule: HeightRule) -> ReadingHeights:
        """
        Every reading over the ground as it was then.

        Parameters
        ----------
        rule
            As the rule asks for it.
        """
        return reading_heights(self.hydrants, self.readings, rule, grades=self.grades, own_day=True)

    def outlet_table(self, rule: HeightRule) -> pd.DataFrame:
        """
        The `outlets` table, empty where all readings are of one outlet.

        Parameters
        ----------
        rule
            Which outlet governs.
        """
        kinds = self.readings["measured_to"].str.split("-").str[0]
        measured = [kind for kind in OUTLETS if (kinds == kind).any()]
        parts = []
        for kind in measured if len(measured) > 1 else ():
            asked = replace(rule, outlet=kind, point="centerline", datum="grade")
            told = reading_heights(
                self.hydrants, self.readings[kinds == kind], asked, grades=self.grades,
                terrains=self.terrains,
            )  # fmt: skip
            basis, _ = standing(self.hydrants, told, asked)
            frame = basis.rename(columns={"outlet_height_in": "height_in"}).assign(
                hydrant_id=self.hydrants["hydrant_id"], outlet=kind, governs=rule.outlet == kind
            )
            parts.append(frame[frame["height_in"].notna()])
        if not parts:
            return OUTLET_HEIGHTS.empty()
        both = pd.concat(parts).sort_values(["hydrant_id", "outlet"], kind="stable")
        return OUTLET_HEIGHTS.conform(both.reset_index(drop=True))

    def grade_table(self) -> pd.DataFrame:
        """The `grades` table: a row for each hydrant, datum and survey with shots."""
        parts = []
        for datum, fit in self.grades.items():  # a datum or two
            told = fit.shots > 0
            stands = np.zeros(len(told), dtype=bool)
            stands[fit.stands[fit.stands >= 0]] = True
            parts.append(
                pd.DataFrame(
                    {
                        "hydrant_id": self.hydrants["hydrant_id"].to_numpy(object)[fit.hydrant],
                        "vertical_datum": datum, "survey_date": fit.on.astype("datetime64[ms]"),
                        "stands": stands, "grade_elev_ft": fit.elev_ft,
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
    shot, on_shots = readings_of_shots(hydrants, shots, flat, laid(shots))
    if len(shot):
        readings = READINGS.conform(pd.concat([readings, shot], ignore_index=True))
    terrains = surfaces_of(store, hydrants, "terrain")
    known = _where_known(ground["vertical_datum"], grades, terrains)
    readings, on_datums = _in_datum_of_ground(hydrants, readings, known)
    told = reading_heights(hydrants, readings, rule, grades=grades, terrains=terrains)
    basis, on_heights = standing(hydrants, told, rule)
    works, on_works = works_of(store)
    changed_on = last_built(hydrants.geometry, works)
    since = basis["grade_date"].to_numpy().astype("datetime64[D]")

    def change(built: NDArray[np.datetime64], ground: NDArray[np.datetime64]) -> Change:
        """By shots of after the last works, else by works, by shots, by terrain."""
        planned = works_change(hydrants.geometry, works, built)
        told, shot = Change.none(len(hydrants)), Change.none(len(hydrants))
        for fit in grades.values():  # a datum or two
            measured = shots_change(fit, ground)
            on = np.append(fit.on, np.datetime64("NaT", "D"))[fit.stands]
            told = told.or_else(measured.where(on >= changed_on))
            shot = shot.or_else(measured)
        terrain = terrain_change(terrains, ground, changed_on=changed_on)
        return told.or_else(planned).or_else(shot).or_else(terrain)

    never = np.full(len(hydrants), np.datetime64("NaT", "D"))
    undated = np.isnat(since) & basis["outlet_height_in"].notna().to_numpy()
    now = change(since, since)
    basis, on_changes = carried_forward(hydrants, basis, now, rule)
    ever = change(
        np.where(undated, BEFORE_ALL, never), np.where(undated, _first(grades, terrains), never)
    )
    basis, on_undated = undated_over(hydrants, basis, ever, rule)
    fitted = hydrants["hydrant_id"].map(store.kits_fitted().to_dict())
    fitted_on = pd.to_datetime(fitted).to_numpy().astype("datetime64[D]")
    basis, on_kits = older_than_kit(hydrants, basis, fitted_on)
    noticed = join_findings(
        outliers, on_shots, on_datums, on_works, on_heights, on_changes, on_undated, on_kits
    )
    return Heights(
        hydrants, basis, grades, terrains, readings, changed_on, fitted_on, now.by != "", noticed
    )


def works_of(store: Register) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """
    The works of a register, and which of them are said to be built on a day that had not come.

    Parameters
    ----------
    store
        The register; works of a day after the last intake are planned ones.
    """
    works = gpd.GeoDataFrame(store.read(WORKS))
    ahead = works["built_on"] > pd.Timestamp(store.recorded_at().date())
    noticed = findings(
        "work-ahead", table="works", keys=works["work_id"][ahead], column="built_on",
        values=works["built_on"][ahead].dt.strftime("%Y-%m-%d"),
    )  # fmt: skip
    return works.assign(built_on=works["built_on"].mask(ahead)), noticed


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
    for name, rows in ground.groupby(key, sort=True):  # a datum or two
        # one point under two numbers is one measurement
        spot = rows[["x", "y", "elev_ft"]].round(3).assign(day=rows["shot_date"])
        part = rows[~spot.duplicated()]
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
        notes.append(_moved(hydrants["hydrant_id"].to_numpy(dtype=object), fit))
    return fits, join_findings(*notes)


def _moved(ids: NDArray[np.object_], fit: GradeFit) -> pd.DataFrame:
    """Where the shots that tell the grade and those of a time before say that it has moved."""
    now = fit.stands[fit.stands >= 0]
    then = fit.before()[now]
    now, then = now[then >= 0], then[then >= 0]
    moved = fit.elev_ft[now] - fit.elev_ft[then]
    clear = np.abs(moved) > TOLD_APART * np.hypot(fit.sd_ft[now], fit.sd_ft[then])
    doubted = clear & fit.doubted()[now]
    notes = []
    for code, rows in (("grade-moved", clear & ~doubted), ("grade-doubted", doubted)):
        days = (fit.on[at[rows]].astype(str).astype(object) for at in (now, then))
        message = "{i} in from those of {b} to those of {a}"
        notes.append(
            findings(
                code, table="hydrants", keys=ids[fit.hydrant[now[rows]]],
                messages=fill(message, i=moved[rows] * 12.0, a=next(days), b=next(days)),
            )
        )  # fmt: skip
    return join_findings(*notes)


def _first(grades: dict[str, GradeFit], terrains: list[SurfaceGrade]) -> np.datetime64:
    """The first day of which anything tells the ground."""
    days = [fit.on for fit in grades.values()] + [np.array([t.on]) for t in terrains]
    told = np.concatenate([np.array([], "M8[D]"), *days])
    told = np.sort(told[~np.isnat(told)])
    return told[0] if len(told) else BEFORE_ALL


def _where_known(
    names: pd.Series, grades: dict[str, GradeFit], terrains: list[SurfaceGrade]
) -> dict[str, NDArray[np.bool_]]:
    """Where the ground is known, by datum as it is first called; shots go before terrain."""
    called = {datum_key(name): name for name in reversed(names.dropna().unique())}
    known = {called[key]: fit.stands >= 0 for key, fit in grades.items()}
    for terrain in terrains:  # a terrain or two
        name = called.setdefault(datum_key(terrain.vertical_datum), terrain.vertical_datum)
        known[name] = known.get(name, False) | np.isfinite(terrain.elev_ft)
    return known


def _in_datum_of_ground(
    hydrants: gpd.GeoDataFrame, readings: pd.DataFrame, known: dict[str, NDArray[np.bool_]]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Outlet elevations in a datum in which the ground there is known, where the way is known.

    A reading with a grade of its own is a height already, whatever its datum.
    """
    at = pd.Index(hydrants["hydrant_id"]).get_indexer(pd.Index(readings["hydrant_id"]))
    asking = readings["outlet_elev_ft"].notna() & readings["grade_elev_ft"].isna()
    asking &= readings["outlet_height_in"].isna() & readings["vertical_datum"].notna() & (at >= 0)
    datum = readings["vertical_datum"].map(datum_key, na_action="ignore")
    for name, there in known.items():
        asking &= (datum != datum_key(name)) | ~there[at]
    if not asking.any() or not known or hydrants.crs is None:
        return readings, no_findings()
    lon, lat = to_degrees(xy(hydrants.geometry), hydrants.crs)
    result, notes = readings.copy(), [no_findings()]
    typical = readings["method"].map({name: m.sd_in for name, m in METHODS.items()})
    part = readings["height_sd_in"].fillna(typical / math.sqrt(2))
    for name in readings["vertical_datum"][asking].unique():  # a datum or two
        for ground, there in known.items():
            rows = asking & (readings["vertical_datum"] == name) & there[at]
            if not rows.any():
                continue
            shift = shift_between(name, ground, lon, lat)
            if shift.why_not:
                notes.append(
                    findings(
                        "datum-not-converted", table="readings", keys=["(all)"], values=[name],
                        messages=f"{name} into {ground}: {shift.why_not}",
                    )
                )  # fmt: skip
                continue
            rows &= np.isfinite(shift.shift_ft[at])  # what lies between two datums needs a place
            for point in ("outlet_elev_ft", "flange_elev_ft", "curb_elev_ft"):
                result.loc[rows, point] += shift.shift_ft[at[rows]]
            result.loc[rows, "height_sd_in"] = np.hypot(part[rows], shift.sd_ft * 12.0)
            result.loc[rows, "vertical_datum"] = ground
            asking &= ~rows
            notes.append(
                findings(
                    "datum-converted", table="readings", keys=["(all)"], values=[name],
                    messages=f"{int(rows.sum()):,} elevations in {name} were converted into "
                    f"{ground} by {shift.by}, accurate to {shift.sd_ft:.2f} ft",
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
    told.sort(key=lambda s: BEFORE_ALL if np.isnat(s.on) else s.on, reverse=True)
    return told
