"""
One hydrant, explained: what was read, what the rule asks for, what can be tried, what is chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
from rapidfuzz import process

from hydrantgis.assess.alternatives import alternatives
from hydrantgis.assess.bury import bury_notes
from hydrantgis.assess.families import family_of
from hydrantgis.assess.reasons import REASONS
from hydrantgis.ground.errors import WordsError, some
from hydrantgis.ground.findings import CODES
from hydrantgis.heights.outlet import reading_heights

if TYPE_CHECKING:
    from hydrantgis.job.checking import Checked

_ABOUT = ("hydrants", "readings", "checked")


@dataclass(frozen=True, slots=True)
class Explained:
    """
    One hydrant, explained.

    Attributes
    ----------
    hydrant
        Its row of the `hydrants` table.
    checked
        Its row of the `checked` table.
    readings
        Every reading of it: day, method, measured to, height as the rule asks for it, standard
        uncertainty, basis, whether it stands, and why it does not answer the rule.
    alternatives
        The `alternatives` table.
    kits_for
        For which family of hydrants the kits are, or why there are none.
    notes
        What is to be thought of: flange, bury, frost, drain.
    """

    hydrant: pd.Series
    checked: pd.Series
    readings: pd.DataFrame
    alternatives: pd.DataFrame
    kits_for: str
    notes: tuple[str, ...]


def explain(result: Checked, hydrant_id: str) -> Explained:
    """
    One hydrant of a check, explained.

    Parameters
    ----------
    result
        From `hydrantgis.job.check`.
    hydrant_id
        Its id.

    Raises
    ------
    WordsError
        There is no such hydrant.
    """
    ids = result.hydrants["hydrant_id"]
    rows = (ids == hydrant_id).to_numpy()
    if not rows.any():
        near = [name for name, *_ in process.extract(hydrant_id, ids.tolist(), limit=5)]
        raise WordsError(
            f"there is no hydrant `{hydrant_id}`", found="near it: " + some(near, 5),
            do="name one as the register does",
        )  # fmt: skip
    hydrant, basis, checked = (
        pd.DataFrame(table)[rows] for table in (result.hydrants, result.heights.basis, result.table)
    )
    at = family_of(hydrant, result.kits.families)
    here = at.family[0]
    family = result.kits.families[here] if here >= 0 else None
    kits_for = REASONS[str(at.why[0])] if family is None else f"kits for {family}"
    told = alternatives(
        hydrant, basis, rule=result.rule, kits=result.kits, area_ids=checked["area_id"]
    )
    if checked["verdict"].isna().iloc[0]:
        told = told.iloc[:0]  # no kit goes in
    # what the check does not take, for it stands right or is measured first, is not chosen
    told["chosen"] &= checked["kit_id"].notna().iloc[0] or checked["remedy"].iloc[0] == "remove"
    return Explained(
        hydrant.iloc[0], checked.iloc[0], _readings(result, hydrant_id), told, kits_for,
        _notes(checked, result),
    )  # fmt: skip


def _readings(result: Checked, hydrant_id: str) -> pd.DataFrame:
    """Every reading of the hydrant over the ground as it is, the newest first."""
    heights = result.heights
    mine = heights.readings[heights.readings["hydrant_id"] == hydrant_id]
    told = reading_heights(
        result.hydrants, mine, result.rule, grades=heights.grades, terrains=heights.terrains
    )
    basis = heights.basis[(result.hydrants["hydrant_id"] == hydrant_id).to_numpy()].iloc[0]
    frame = pd.DataFrame(
        {
            "reading_id": told.rows["reading_id"],
            "reading_date": told.rows["reading_date"],
            "measured_to": told.rows["measured_to"],
            "height_in": told.height_in,
            "sd_in": told.sd_in,
            "basis": told.basis,
            "screening": told.screening,
            "stands": told.rows["reading_id"] == basis["reading_id"],
            "why_not": pd.Series(told.why_not, index=told.rows.index, dtype="str").map(
                {code: kind.meaning for code, kind in CODES.items()}
            ),
        }
    )
    return frame.sort_values(
        ["stands", "reading_date", "reading_id"], ascending=[False, False, True], kind="stable"
    ).reset_index(drop=True)


def _notes(checked: pd.DataFrame, result: Checked) -> tuple[str, ...]:
    """What is to be thought of before the work."""
    codes = [code for code, rows in bury_notes(checked).items() if rows[0]]
    notes = [f"{CODES[code].meaning}: {CODES[code].do}" for code in codes]
    told = result.findings
    mine = told[(told["key"] == checked["hydrant_id"].iloc[0]) & told["table"].isin(_ABOUT)]
    for code, said in zip(mine["code"], mine["message"], strict=True):
        meaning = CODES[code].meaning
        notes.append(meaning if pd.isna(said) or said == meaning else f"{meaning}: {said}")
    return tuple(dict.fromkeys(notes))
