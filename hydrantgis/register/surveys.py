"""
Surveys that are told again: what is new, what takes the place of what, what cannot both be.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.errors import RegisterError, some
from hydrantgis.ground.findings import findings, no_findings
from hydrantgis.ground.identity import content_ids
from hydrantgis.ground.plane import xy
from hydrantgis.ground.tables import HISTORY

if TYPE_CHECKING:
    from hydrantgis.intake.take import Intake

SAME_PLACE = 0.05
"""Two shots of one number no farther apart than this are one point. [CRS]"""
SAME_ELEV_FT = 0.0001
APART_FT = 200.0
"""Ground of one utility that lies this far above or below all that was shot before is most often
in another unit or datum: common practice, no source. [ft]"""
_FACTS = (
    "elev_ft", "shot_code", "vertical_datum", "elev_sd_ft", "hydrant_id", "measured_to",
    "shot_date",
)  # fmt: skip


def takes_the_place_of(intake: Intake, imports: pd.DataFrame, *, replace: bool) -> list[str]:
    """
    The earlier intakes whose rows this one takes the place of.

    Parameters
    ----------
    intake
        Readings or shots.
    imports
        The `imports` table.
    replace
        Whether all that files of this name told before is meant.

    Returns
    -------
    import_ids
        Those of the same bytes, read otherwise; where `replace`, those of the same file name too.
    """
    told = intake.record
    other = imports["import_id"].str.split("-").str[0] != told["import_id"]
    ours = (imports["as_kind"] == intake.kind) & (imports["layer"] == told["layer"])
    same = imports["sha256"] == told["sha256"]
    if replace:
        same |= imports["source"] == told["source"]
    return imports["import_id"][ours & same & other].tolist()


def new_shots(
    told: gpd.GeoDataFrame, known: gpd.GeoDataFrame, *, replaced: list[str], where: str
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame | None]:
    """
    Shots that are new, and those that stay where some give way.

    Parameters
    ----------
    told, known
        The `shots` table, as told and as it stands, in one CRS.
    replaced
        Intakes whose shots give way.
    where
        The source, for messages.

    Returns
    -------
    fresh
        Those that do not stand there told the same in every way.
    kept
        What stays, where anything gives way; else None.

    Raises
    ------
    RegisterError
        A shot stands there under the same number, at the same place, of the same day or of none,
        told otherwise.
    """
    gone = known["import_id"].isin(replaced).to_numpy(dtype=bool)
    kept = known[~gone]
    pairs = _same_points(told, kept)
    same = pd.Series(True, index=pairs.index)
    for name in _FACTS:
        ours, theirs = pairs[f"{name}_told"], pairs[f"{name}_known"]
        if name == "elev_ft":
            same &= (ours - theirs).abs() <= SAME_ELEV_FT
        else:
            same &= ((ours == theirs) | (ours.isna() & theirs.isna())).fillna(value=False)
    settled = pairs["told"][same].unique()
    days = pairs[["shot_date_told", "shot_date_known"]]
    one_day = days.isna().any(axis=1) | (days["shot_date_told"] == days["shot_date_known"])
    clash = pairs[~same & one_day & ~pairs["told"].isin(settled)]
    if len(clash):
        raise RegisterError(
            "points stand there under the same numbers, at the same places, told otherwise",
            where=where,
            found=f"{clash['told'].nunique():,} of {len(told):,}: {some(_spelled(clash), 3)}",
            do="say --replace where this file corrects the one of that name, or shots of another "
            "day say their day (--on)",
        )
    fresh = np.ones(len(told), dtype=bool)
    fresh[settled] = False
    return gpd.GeoDataFrame(told[fresh]), gpd.GeoDataFrame(kept) if gone.any() else None


def _same_points(told: gpd.GeoDataFrame, known: gpd.GeoDataFrame) -> pd.DataFrame:
    """Pairs of shots of one number at one place; `told` is the position of the one told."""
    sides = []
    for frame, name in ((told, "told"), (known, "known")):
        where = xy(frame.geometry)
        plain = pd.DataFrame(frame[["shot_id", *_FACTS]]).rename(
            columns={fact: f"{fact}_{name}" for fact in _FACTS}
        )
        sides.append(
            plain.assign(**{f"x_{name}": where[:, 0], f"y_{name}": where[:, 1]}).reset_index(
                drop=True
            )
        )
    sides[0]["told"] = np.arange(len(told))
    pairs = sides[0].merge(sides[1], on="shot_id")
    apart = np.hypot(pairs["x_told"] - pairs["x_known"], pairs["y_told"] - pairs["y_known"])
    nowhere = pairs["x_told"].isna() & pairs["x_known"].isna()
    return pairs[(apart <= SAME_PLACE) | nowhere].reset_index(drop=True)


def _spelled(clash: pd.DataFrame) -> list[str]:
    """Where the two tellings of a point differ, point by point."""
    told = []
    for row in clash.head(4).to_dict("records"):
        for name in _FACTS:
            ours, theirs = row[f"{name}_told"], row[f"{name}_known"]
            if ours != theirs and not (pd.isna(ours) and pd.isna(theirs)):
                told.append(f"point {row['shot_id']}: {name} {theirs} there, {ours} here")
                break
    return told


def far_from_others(told: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    """
    A finding where shots lie far above or below all ground that was shot in their datum.

    Parameters
    ----------
    told, known
        The `shots` table.
    """
    notes = []
    for datum in told["vertical_datum"].dropna().unique():  # one, most often
        ours = told["elev_ft"][told["vertical_datum"] == datum].dropna()
        theirs = known["elev_ft"][known["vertical_datum"] == datum].dropna()
        if not len(ours) or not len(theirs):
            continue
        low, high, middle = theirs.min(), theirs.max(), ours.median()
        if low - APART_FT <= middle <= high + APART_FT:
            continue
        notes.append(
            f"{len(ours):,} shots in {datum} lie about {middle:,.0f} ft high, those of before "
            f"{low:,.0f} to {high:,.0f} ft"
        )
    if not notes:
        return no_findings()
    return findings("elevations-apart", table="shots", keys=["(all)"], messages="; ".join(notes))


def struck_events(
    history: pd.DataFrame, replaced: list[str], told: pd.Series, import_id: str
) -> pd.DataFrame:
    """
    Events that strike readings which a newer telling of their file does not hold.

    Parameters
    ----------
    history
        The `events` table as it stands, of `measured` and `struck`.
    replaced
        Intakes whose readings give way.
    told
        Ids of the readings that are told now.
    import_id
        The intake that tells them.

    Returns
    -------
    events
        The `events` table. Nothing is taken out of the history: a reading is struck, and counts no
        more.
    """
    measured = history[history["event"] == "measured"]
    stands = ~measured["event_id"].isin(history["strikes"].dropna())
    spared = measured["event_id"].str.split("-").str[0].isin(told)
    gone = measured[stands & measured["import_id"].isin(replaced) & ~spared]
    rows = pd.DataFrame(
        {"hydrant_id": gone["hydrant_id"], "strikes": gone["event_id"], "event": "struck"}
    ).assign(import_id=import_id, event_id="")
    events = HISTORY.conform(rows.reset_index(drop=True))
    return events.assign(event_id=content_ids(events.drop(columns="event_id"), "e"))
