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
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.results import EFFECTS, SCENARIO
from hydrantgis.ground.tables import PROVENANCE, WORKS
from hydrantgis.ground.text import datum_key
from hydrantgis.heights.changes import (
    Change,
    SurfaceGrade,
    after_change,
    planned_change,
    works_change,
)
from hydrantgis.heights.works import grade_change_in
from hydrantgis.job.checking import Checked, check
from hydrantgis.job.heights import surfaces_of
from hydrantgis.job.moment import quiet
from hydrantgis.register.geopackage import write_geopackage
from hydrantgis.register.store import Register

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray


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
            "on_changed_grade": int((self.table["grade_change_in"].fillna(0) != 0).sum()),
            "change_not_known": int(self.table["grade_change_in"].isna().sum()),
            **{effect: int(by.get(effect, 0)) for effect in EFFECTS},
            "jobs_wrong": int(self.table["job_wrong"].fillna(False).sum()),
        }

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
        change, noticed = _by_surface(store, now, surface)
        title = f"design surface {surface}"
    else:
        chosen = _works(store, works)
        change = planned_change(now.hydrants.geometry, chosen)
        _, noticed = grade_change_in(now.hydrants, chosen)
        title = f"works {some(chosen['work_id'].unique().tolist(), 12)}"
    basis = after_change(now.heights.basis, change, now.rule)
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
    stands = gpd.GeoDataFrame(store.read(WORKS))
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


def _by_surface(store: Register, now: Checked, name: str) -> tuple[Change, pd.DataFrame]:
    """The design less the grade that is known, at the hydrants that it reaches."""
    designs = {s.name: s for s in surfaces_of(store, now.hydrants, "design")}
    if name not in designs:
        raise WordsError(
            f"there is no design surface `{name}`", where=store.path.name,
            accepted=some(list(designs), 20) or "none",
            do="bring it in with `survey SOURCE --as surface --name NAME`",
        )  # fmt: skip
    design = designs[name]
    elev, sd = _present_grade(store, now, design)
    reached = np.isfinite(design.elev_ft)
    unknown = reached & ~np.isfinite(elev)
    change = np.where(reached, (design.elev_ft - elev) * 12.0, 0.0)
    spread = np.where(reached, np.hypot(design.sd_ft, sd) * 12.0, 0.0)
    by = np.where(reached, f"design {name}", "").astype(object)
    ids = now.hydrants["hydrant_id"]
    beyond = int((~reached).sum())
    noticed = join_findings(
        findings("no-present-grade", table="hydrants", keys=ids[pd.Series(unknown, ids.index)]),
        findings("beyond-design", table="hydrants", keys=["(all)"] if beyond else [],
                 messages=f"{beyond:,} hydrants lie beyond the design and stand as they do now"),
    )  # fmt: skip
    return Change(change, spread, by), noticed


def _present_grade(
    store: Register, now: Checked, design: SurfaceGrade
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Grade as it is, in the datum of the design: of shots, else of the newest terrain. [ft]

    Works that were built since raised it, as they lowered the heights that stand.
    """
    n, datum = len(now.hydrants), datum_key(design.vertical_datum)
    elev, sd = np.full(n, np.nan), np.full(n, np.nan)
    told = []
    if datum in now.heights.grades:
        fit = now.heights.grades[datum]
        told.append((fit.elev_ft, fit.sd_ft, fit.on))
    told += [
        (t.elev_ft, t.sd_ft, np.full(n, t.on))
        for t in now.heights.terrains
        if datum_key(t.vertical_datum) == datum
    ]
    works = gpd.GeoDataFrame(store.read(WORKS))
    for ground, ground_sd, on in told:  # the shots and a terrain or two
        since = works_change(now.hydrants.geometry, works, on)
        rows = np.isnan(elev) & np.isfinite(ground)
        elev[rows] = (ground + since.change_in / 12.0)[rows]
        sd[rows] = np.hypot(ground_sd, since.sd_in / 12.0)[rows]
    return elev, sd
