"""
What an intake would add to a register, told before anything is written.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.errors import RegisterError
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.tables import (
    CHANGES,
    HISTORY,
    HYDRANTS,
    IMPORTS,
    REFERENCE_LAYERS,
    SHOTS,
    SURFACES,
    WORKS,
)
from hydrantgis.register.changes import compare, without_noise
from hydrantgis.register.events import (
    gone_now,
    grade_changed_events,
    imported_events,
    lineages,
    measured_events,
    retired_events,
    state_after,
    told_again,
)
from hydrantgis.register.surveys import (
    far_from_others,
    new_shots,
    struck_events,
    takes_the_place_of,
)
from hydrantgis.register.vintages import Vintage, many_gone, vintage

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    import pyproj

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.take import Intake
    from hydrantgis.register.store import Register


@dataclass(frozen=True, slots=True)
class Added:
    """
    What an intake added.

    Attributes
    ----------
    rows
        Events or rows.
    known
        The same intake was there already; nothing was added.
    unchanged
        Rows that told nothing new.
    others
        Rows of a reference layer that stay from other sources.
    changes
        The `changes` table, of a hydrant layer that came into a register with hydrants.
    vintage
        What that layer is a newer vintage of.
    struck
        Readings or shots of before that this telling takes the place of.
    whole
        Tables that are written anew rather than added to.
    findings
        What was noticed in comparing it with the register.
    """

    rows: int
    known: bool
    unchanged: int
    others: int = 0
    changes: pd.DataFrame = field(default_factory=CHANGES.empty)
    vintage: Vintage | None = None
    struck: int = 0
    whole: tuple[str, ...] = ()
    findings: pd.DataFrame = field(default_factory=no_findings)


def would_add(
    store: Register, intake: Intake, *, replace: bool, adds: bool, today: dt.date
) -> tuple[list[tuple[Table, pd.DataFrame]], Added, str]:
    """
    What would be written, what that adds, and the id of the intake.

    Raises
    ------
    RegisterError
        The register is not there yet and these are no hydrants, or nothing could take the place of
        what stands.
    """
    import_id = str(intake.record["import_id"])
    settled = Added(0, known=True, unchanged=intake.count.accepted)
    newest = stood = False
    if not store.exists():
        crs = crs_to_begin_with(intake, store.path)
    else:
        crs = store.crs
        if replace and not intake.count.accepted:
            raise RegisterError(
                f"the layer has no {intake.kind} that could take the place of what stands",
                where=str(store.path), found=str(intake.count), do="leave --replace out",
            )  # fmt: skip
        told_before, newest, stood = _known(store, intake)
        if newest and not replace:
            return [], settled, import_id
        # told once more, after something else or to replace it: a telling of its own
        import_id = f"{import_id}-{told_before + 1}" if told_before else import_id
    accepted = intake.accepted
    if isinstance(accepted, gpd.GeoDataFrame):
        accepted = _in_crs(accepted, crs, str(intake.record["source"]))
    if intake.kind == "hydrants":
        layers, added = _plan_hydrants(
            store, intake, gpd.GeoDataFrame(accepted), crs, import_id, whole=replace, adds=adds
        )
        if stood and not added.rows:
            return [], settled, import_id
        return layers, added, import_id
    if intake.kind in ("readings", "shots"):
        layers, added = _plan_survey(store, intake, accepted, import_id, replace=replace)
        if newest and not (added.rows or added.struck):
            return [], settled, import_id
        return layers, added, import_id
    table = REFERENCE_LAYERS[intake.kind]
    told = accepted.assign(source=f"{intake.record['source']}: {intake.record['layer']}")
    stands = store.read(table)
    ours = stands["source"].isin(told["source"]) | stands[table.key].isin(told[table.key])
    whole = ours.all() if replace else True
    if stood and whole and int(stands["source"].isin(told["source"]).sum()) == len(told):
        return [], settled, import_id
    kept = stands[~ours].iloc[:0] if replace else stands[~ours]
    both = [frame for frame in (kept, told) if len(frame)]
    merged = gpd.GeoDataFrame(pd.concat(both, ignore_index=True)) if both else stands.iloc[:0]
    added = Added(len(told), known=False, unchanged=0, others=len(kept))
    written: list[tuple[Table, pd.DataFrame]] = [(table, table.conform(merged))]
    if table is WORKS:
        events = grade_changed_events(
            store.hydrants(), gpd.GeoDataFrame(told), store.read(HISTORY.only(())), import_id,
            by=today,
        )  # fmt: skip
        written.append((HISTORY, events))
    return written, added, import_id


def _plan_hydrants(
    store: Register,
    intake: Intake,
    told: gpd.GeoDataFrame,
    crs: pyproj.CRS,
    import_id: str,
    *,
    whole: bool,
    adds: bool,
) -> tuple[list[tuple[Table, pd.DataFrame]], Added]:
    """What a hydrant layer adds, and how it differs from what stands."""
    if not store.exists():
        state = gpd.GeoDataFrame(HYDRANTS.empty(crs))
        events = imported_events(told, state, import_id)
        after = state_after(state, events, crs)
        layers = [(HYDRANTS, after), (HISTORY, events), (CHANGES, CHANGES.empty())]
        return layers, Added(len(events), known=False, unchanged=len(told) - len(events))
    state = store.hydrants()
    kept = HISTORY.only(("event", "hydrant_id", "import_id", "status"))
    history = store.read(kept, where="event IN ('imported', 'retired')")
    living = state["hydrant_id"][(state["status"] != "retired").fillna(value=True)]
    imports = store.read(IMPORTS)
    roots = lineages(history, imports)
    present = pd.Index([*told["hydrant_id"], *intake.exceptions["key"].dropna()])
    found = vintage(present, roots[roots.index.isin(living)], whole=whole, adds=adds)
    tellings = imports[(imports["vintage_of"] == found.of) | (imports["import_id"] == found.of)]
    if len(tellings):
        found = dataclasses.replace(found, source=str(tellings["source"].iloc[-1]))
    rows, back = told_again(pd.DataFrame(told), history)
    told = without_noise(gpd.GeoDataFrame(told.assign(status=rows["status"])), state)
    changed, noticed = compare(told, state, found.gone, back, import_id)
    news = imported_events(told, state, import_id, gone=gone_now(history))
    if not whole:
        noticed = join_findings(noticed, many_gone(found))
    events = pd.concat(
        [f for f in (news, retired_events(found.gone, import_id)) if len(f)] or [news]
    )
    added = Added(
        len(events), known=False, unchanged=len(told) - len(news),
        changes=changed, vintage=found, findings=noticed,
    )  # fmt: skip
    after = state_after(state, events, crs)
    layers = [(HYDRANTS, after), (HISTORY, events), (CHANGES, changed)]
    # what a surface tells at the place where a hydrant stood is not its grade now
    read = store.read(SURFACES)
    left = read["hydrant_id"].isin(changed["hydrant_id"][changed["change"] == "moved"])
    if left.any():
        layers.append((SURFACES, SURFACES.conform(read[~left])))
        ids = read["hydrant_id"][left].unique()
        noticed = join_findings(noticed, findings("surface-left", table="hydrants", keys=ids))
        added = dataclasses.replace(added, findings=noticed)
    return layers, added


def _known(store: Register, intake: Intake) -> tuple[int, bool, bool]:
    """
    How often this intake was recorded, whether it was the last, and the last of its layer.

    The newest telling of a layer, or of a survey's bytes, stands, so that going back to an older
    one is news.
    """
    import_id, kind = str(intake.record["import_id"]), intake.kind
    imports = store.read(IMPORTS)
    base = imports["import_id"].str.split("-").str[0]
    same = base == import_id
    if not same.any():
        return 0, False, False
    alike = imports["as_kind"] == kind
    latest = base[alike].iloc[-1] == import_id
    layer = imports["source"] + "\n" + imports["layer"]
    if kind == "hydrants":  # one layer may be called otherwise each time
        layer = imports["vintage_of"].where(imports["vintage_of"].notna(), imports["import_id"])
    if kind in ("readings", "shots"):
        layer = imports["sha256"] + "\n" + imports["layer"]
    own = base[alike & (layer == layer[same].iloc[-1])].iloc[-1] == import_id
    return int(same.sum()), own if kind in ("readings", "shots") else latest, own


def _plan_survey(
    store: Register, intake: Intake, told: pd.DataFrame, import_id: str, *, replace: bool
) -> tuple[list[tuple[Table, pd.DataFrame]], Added]:
    """What readings or shots add, and what they take the place of."""
    replaced = takes_the_place_of(intake, store.read(IMPORTS), replace=replace)
    noticed = no_findings()
    source = str(intake.record["source"])
    if replaced:
        noticed = findings("told-before", table=intake.kind, keys=["(all)"], values=[source])
    if intake.kind == "readings":
        history = store.read(HISTORY.only(("event_id", "event", "hydrant_id", "import_id",
                                           "strikes")))  # fmt: skip
        events = measured_events(told, history, import_id)
        gone = struck_events(history, replaced, told["reading_id"], import_id)
        layers = [(HISTORY, pd.concat([f for f in (events, gone) if len(f)] or [events]))]
        added = Added(
            len(events), known=False, unchanged=len(told) - len(events), struck=len(gone),
            findings=noticed,
        )  # fmt: skip
        return layers, added
    known = gpd.GeoDataFrame(store.read(SHOTS))
    shots = gpd.GeoDataFrame(told).assign(import_id=import_id)
    fresh, kept = new_shots(shots, known, replaced=replaced, where=source)
    noticed = join_findings(noticed, far_from_others(fresh, known if kept is None else kept))
    left = 0 if kept is None else len(known) - len(kept)
    if kept is not None:
        parts = [frame for frame in (kept, fresh) if len(frame)]
        fresh = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True)) if parts else fresh
    new = len(fresh) - (0 if kept is None else len(kept))
    added = Added(
        new, known=False, unchanged=len(told) - new, struck=left, findings=noticed,
        whole=() if kept is None else (SHOTS.name,),
    )  # fmt: skip
    return [(SHOTS, fresh)], added


def _in_crs(rows: gpd.GeoDataFrame, crs: pyproj.CRS, where: str) -> gpd.GeoDataFrame:
    there = rows.to_crs(crs)
    lost = there.geometry.notna() & ~np.isfinite(there.geometry.bounds.to_numpy()).all(axis=1)
    if lost.any():
        raise RegisterError(
            "some places cannot be told in the CRS of the register", where=where,
            found=f"{int(lost.sum()):,} rows lie where it has no coordinates",
            do="begin another register for them, or look at --crs",
        )  # fmt: skip
    return there


def crs_to_begin_with(intake: Intake, path: Path) -> pyproj.CRS:
    """
    The CRS that a new register takes from its first hydrant layer.

    Raises
    ------
    RegisterError
        These are no hydrants.
    """
    if intake.kind != "hydrants" or intake.crs is None:
        raise RegisterError(
            "a register begins with a hydrant layer",
            where=str(path),
            do="run `import SOURCE --register FILE` first",
        )
    return intake.crs
