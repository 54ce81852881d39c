"""
Verdict and remedy of every hydrant over the grade to come: planned works, or a design surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.assess import check as assess
from hydrantgis.assess.scenario import compare
from hydrantgis.ground.errors import RegisterError, WordsError, some
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import xy
from hydrantgis.ground.results import EFFECTS, SCENARIO
from hydrantgis.ground.tables import PROVENANCE
from hydrantgis.ground.text import datum_key
from hydrantgis.heights.carry import after_change, without_ground
from hydrantgis.heights.changes import (
    Change,
    SurfaceGrade,
    planned_change,
    works_change,
)
from hydrantgis.heights.works import grade_change_in
from hydrantgis.intake.datums import Shift, shift_between
from hydrantgis.intake.systems import to_degrees
from hydrantgis.job.checking import Checked, check
from hydrantgis.job.heights import surfaces_of, works_of
from hydrantgis.job.moment import quiet
from hydrantgis.register.geopackage import write_geopackage
from hydrantgis.register.store import Register

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

_NO_DAY = np.datetime64("NaT", "D")


@dataclass(frozen=True, slots=True)
class Foretold:
    """
    A scenario.

    Attributes
    ----------
    table
        The `scenario` table.
    now
        The check as things stand.
    title
        What changes the grade.
    findings
        What was noticed of the change.
    """

    table: gpd.GeoDataFrame
    now: Checked
    title: str
    findings: pd.DataFrame

    def counts(self) -> dict[str, int]:
        """Hydrants: all, on changed grade, on unknown change, of each effect, with a wrong job."""
        by = self.table["effect"].value_counts()
        return {
            "hydrants": len(self.table),
            "on_changed_grade": int(self._changed().sum()),
            "change_not_known": int(self.table["grade_change_in"].isna().sum()),
            **{effect: int(by.get(effect, 0)) for effect in EFFECTS},
            "marginal_then": int(
                (self.table["marginal_then"].fillna(False) & self._changed()).sum()
            ),
            "jobs_wrong": int(self.table["job_wrong"].fillna(False).sum()),
        }

    def _changed(self) -> pd.Series:
        return self.table["grade_change_in"].fillna(0).abs() >= 0.005

    def write(self, path: Path | str) -> None:
        """Write the GeoPackage: scenario, provenance."""
        told = pd.DataFrame([{"item": "grade to come", "value": self.title}])
        rests_on = PROVENANCE.conform(pd.concat([told, self.now.provenance], ignore_index=True))
        write_geopackage(
            Path(path), [(SCENARIO, self.table), (PROVENANCE, rests_on)], moment=self.now.moment
        )


def scenario(
    register: Path | str,
    *,
    surface: str | None = None,
    works: Sequence[str] | None = None,
    rule: str | None = None,
    kits: str | None = None,
    outlet: str | None = None,
    command: str = "library call",
    tell: Callable[[str], None] = quiet,
) -> Foretold:
    """
    Verdict and remedy of every hydrant over the grade to come.

    Parameters
    ----------
    register
        The register's file.
    surface
        A design surface in the register; planned works where it is None.
    works
        Ids of works; all that are not built where it is None.
    rule, kits, outlet, command, tell
        As `hydrantgis.job.check`.

    Returns
    -------
    foretold
        A hydrant that the change does not reach stands as it does now. Where the present grade
        under a design surface is not known, the height then is missing and the verdict unresolved.

    Raises
    ------
    WordsError
        Both a surface and works are named, or what is named is not in the register, or is built.
    RegisterError
        There is nothing that would change the grade.
    """
    if surface is not None and works is not None:
        raise WordsError("a surface and works are named", do="name the one or the other")
    now = check(register, rule=rule, kits=kits, outlet=outlet, command=command, tell=tell)
    tell("the grade to come")
    store = Register(Path(register))
    if surface is not None:
        change, basis, noticed = _by_surface(store, now, surface)
        title = f"design surface {surface}"
    else:
        chosen = _works(store, works)
        change = planned_change(now.hydrants.geometry, chosen)
        basis = after_change(now.heights.basis, change, now.rule)
        _, noticed = grade_change_in(now.hydrants, chosen)
        title = f"works {some(chosen['work_id'].unique().tolist(), 12)}"
    lost = (
        basis["outlet_height_in"].isna() & now.heights.basis["outlet_height_in"].notna()
    ).to_numpy()
    basis["why_not"] = basis["why_not"].mask(pd.Series(lost, basis.index), "no-grade")
    then, _ = assess.check(
        now.hydrants, basis, rule=now.rule, kits=now.kits, area_ids=now.table["area_id"]
    )
    return Foretold(compare(now.table, then, change), now, title, noticed)


def _works(store: Register, named: Sequence[str] | None) -> gpd.GeoDataFrame:
    """The works of those ids, or all that are not built."""
    stands, _ = works_of(store)
    planned = stands["built_on"].isna()
    known = stands["work_id"].unique().tolist()
    missing = [work for work in named or () if work not in known]
    if missing:
        raise WordsError(
            f"there is no work `{missing[0]}`", where=store.path.name,
            accepted=some(known, 20) or "none", do="say --work ID, or leave it out for all",
        )  # fmt: skip
    open_ids = stands["work_id"][planned].unique().tolist()
    done = [work for work in named or () if work not in open_ids]
    if done:
        raise WordsError(
            f"work `{done[0]}` is built: the heights that stand hold its change already",
            where=store.path.name, accepted=some(open_ids, 20) or "none", do="leave it out",
        )  # fmt: skip
    chosen = stands[planned & stands["work_id"].isin(open_ids if named is None else list(named))]
    if not len(chosen):
        raise RegisterError(
            "no works are planned", where=store.path.name,
            found=f"{len(stands):,} works, all of them built" if len(stands) else "none at all",
            do="bring them in with `import SOURCE --as works`, or name a design with --surface",
        )  # fmt: skip
    return gpd.GeoDataFrame(chosen)


def _by_surface(
    store: Register, now: Checked, name: str
) -> tuple[Change, pd.DataFrame, pd.DataFrame]:
    """
    The design less the grade that is known, and the heights over the design.

    A height that stands over a ground of known elevation loses that ground, and what is not known
    of it with it.
    """
    designs = {s.name: s for s in surfaces_of(store, now.hydrants, "design")}
    if name not in designs:
        raise WordsError(
            f"there is no design surface `{name}`", where=store.path.name,
            accepted=some(list(designs), 20) or "none",
            do="bring it in with `survey SOURCE --as surface --name NAME`",
        )  # fmt: skip
    design, n = designs[name], len(now.hydrants)
    reached = np.isfinite(design.elev_ft)
    own, others = _own_grounds(now), _other_grounds(store, now)
    rise, sd, alone = np.zeros(n), np.zeros(n), np.zeros(n)
    left, cancels, notes = reached.copy(), np.zeros(n, dtype=bool), [no_findings()]
    for ground in (*own, *others):  # a datum or two, of heights, shots and terrain
        asking = left & np.isfinite(ground.elev_ft)
        if not asking.any():
            continue
        there = _in_datum(now.hydrants, design, ground.vertical_datum)
        if there.why_not:
            notes.append(
                findings(
                    "datum-not-converted", table="surfaces", keys=["(all)"], values=[name],
                    messages=f"{design.vertical_datum} into {ground.vertical_datum}: "
                    f"{there.why_not}",
                )
            )  # fmt: skip
        rows = asking & np.isfinite(there.shift_ft)
        rise[rows] = (design.elev_ft + there.shift_ft - ground.elev_ft)[rows] * 12.0
        alone[rows] = np.hypot(design.sd_ft, there.sd_ft)[rows] * 12.0
        sd[rows] = np.hypot(alone, ground.sd_ft * 12.0)[rows]
        if any(ground is of_height for of_height in own):
            cancels |= rows
        left &= ~rows
    rise[left] = sd[left] = alone[left] = np.nan
    ids = now.hydrants["hydrant_id"]
    beyond = int((~reached).sum())
    noticed = join_findings(
        *notes,
        findings("no-present-grade", table="hydrants", keys=ids[pd.Series(left, ids.index)]),
        findings("beyond-design", table="hydrants", keys=["(all)"] if beyond else [],
                 messages=f"{beyond:,} hydrants lie beyond the design and stand as they do now"),
    )  # fmt: skip
    by = np.where(reached, f"design {name}", "").astype(object)
    bare = without_ground(now.heights.basis, cancels, now.rule)
    cancels &= now.rule.datum == "grade"
    over = after_change(bare, Change(rise, np.where(cancels, alone, sd), by), now.rule)
    return Change(rise, sd, by), over, noticed


def _in_datum(hydrants: gpd.GeoDataFrame, design: SurfaceGrade, datum: str) -> Shift:
    """What brings the design into a datum."""
    if datum_key(design.vertical_datum) == datum_key(datum) or hydrants.crs is None:
        return Shift(np.zeros(len(hydrants)), 0.0, "", "")
    lon, lat = to_degrees(xy(hydrants.geometry), hydrants.crs)
    return shift_between(design.vertical_datum, datum, lon, lat)


def _own_grounds(now: Checked) -> list[SurfaceGrade]:
    """The grounds that heights stand over, by datum."""
    basis = now.heights.basis
    elev, sd = (basis[name].to_numpy(np.float64) for name in ("grade_elev_ft", "grade_sd_ft"))
    datum = basis["vertical_datum"].where(basis["grade_elev_ft"].notna())
    return [
        SurfaceGrade("", _NO_DAY, np.where(rows, elev, np.nan), sd, str(name))
        for name in datum.dropna().unique()
        for rows in [(datum == name).fillna(value=False).to_numpy(dtype=bool)]
    ]


def _other_grounds(store: Register, now: Checked) -> list[SurfaceGrade]:
    """
    Grade as it is, of shots, then of terrain, the newest first.

    Works that were built since raised it, as they lowered the heights that stand.
    """
    works, _ = works_of(store)
    grounds: list[SurfaceGrade] = []

    def add(
        datum: str, elev: NDArray[np.float64], sd: NDArray[np.float64], on: NDArray[np.datetime64]
    ) -> None:
        since = works_change(now.hydrants.geometry, works, on)
        raised, of = elev + since.change_in / 12.0, np.hypot(sd, since.sd_in / 12.0)
        grounds.append(SurfaceGrade("", _NO_DAY, raised, of, datum))

    for datum, fit in now.heights.grades.items():  # a datum or two
        elev, sd = (fit.told(values, fit.stands) for values in (fit.elev_ft, fit.sd_ft))
        add(datum, elev, sd, np.append(fit.on, _NO_DAY)[fit.stands])
    for t in now.heights.terrains:  # a terrain or two
        add(t.vertical_datum, t.elev_ft, t.sd_ft, np.full(len(t.elev_ft), t.on))
    return grounds
