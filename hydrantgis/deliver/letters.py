"""
Notices as letters by area and day, and the list of hydrants that go out of service, as one PDF.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from hydrantgis.deliver import sheetwords as w
from hydrantgis.deliver.inert import breakable
from hydrantgis.deliver.typeset import typeset

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hydrantgis.deliver.sheets import SheetBook

    Row = dict[str, Any]

_NO_DAY = "day to come"
_OPENING = {
    "fire department": "The hydrants below go out of service for work on their height. As long as "
    "one is out it carries a tag. Please plan with the hydrant that stands in, and see on site "
    "that it is usable: (low) marks one whose outlet is below its window, where a hose may be hard "
    "to couple.",
    "customers": "We work on the hydrants below, so that they stand at the height at which the "
    "fire department can use them. While the work lasts they give no water.",
}
_CLOSING = {
    "fire department": [
        "You are told as each one goes out, and again as each one is back. Until you are told that "
        "it is back, please take it as out. Days can change; then you are told anew.",
    ],
    "customers": [
        "Your own water stays on, unless the line above says otherwise. When a valve is opened "
        "again, water may run cloudy or brown for a while: let the cold tap run until it is clear.",
        "Please leave the ground round the hydrant free of cars, bins and plants on that day. Days "
        "can change; then you are told anew. For questions call the number above.",
    ],
}
_MAY_BE_OFF = (
    "No valve of its own is known: valves of the main may have to be closed, and the water of the "
    "street may be off meanwhile."
)


def notices_pdf(book: SheetBook) -> bytes:
    """
    The out-of-service list and the letters as PDF.

    Parameters
    ----------
    book
        The sheets that they go with: its `notices` are those of its rows.

    Notes
    -----
    Whoever sends a letter writes name, address, telephone and date: nothing of it is known here.
    """
    facts = {str(row["hydrant_id"]): row for row in w.records(book.rows)}
    told = book.notices
    out = told[told["told_to"] == "fire department"]
    hours = out["hydrant_id"].map(lambda name: facts[str(name)]["out_from"])
    out = out.assign(out_from=hours.astype("string")).sort_values(
        ["out_on", "out_from", "area_id", "hydrant_id"], kind="stable", na_position="last"
    )
    by = ["told_to", "area_id", "out_on"]
    groups = told.groupby(by, sort=False, dropna=False)
    data = {
        "title": breakable(book.title, 80),
        "out": [_out_row(facts[str(name)]) for name in out["hydrant_id"]],
        "letters": [_letter(frame, facts) for _, frame in groups],
        "foot": f"{book.cautions[0]} {breakable(book.title, 50)}",
    }
    return typeset("paper", "letters", data=data, moment=book.moment)


def _out_row(row: Row) -> list[str]:
    planned = not pd.isna(row["work_date"])
    return [
        w.weekday(row["work_date"]) if planned else _NO_DAY, w.words_of(row["hydrant_id"], 20),
        w.words_of(row["address"], 60, "no address"), w.words_of(row["area_id"], 16),
        f"{row['out_from']} to {row['back_by']}" if planned else "",
        w.words_of(row["crew_id"], 16), w.stand_in(row),
    ]  # fmt: skip


def _letter(frame: pd.DataFrame, facts: Mapping[str, Row]) -> dict[str, Any]:
    """One letter: to whom, of which hydrants of an area on a day."""
    first = frame.iloc[0]
    to = str(first["told_to"])
    title = facts[str(first["hydrant_id"])]["area_title"]
    place = f"area {w.words_of(first['area_id'], 24)} {w.words_of(title, 50)}".strip()
    where = place if not pd.isna(first["area_id"]) else "outside all areas"
    day = _NO_DAY if pd.isna(first["out_on"]) else w.weekday(first["out_on"])
    many = w.counted(len(frame), "hydrant")
    lines = []
    for hydrant_id, line in zip(frame["hydrant_id"], frame["out_line"], strict=True):
        row = facts[str(hydrant_id)]
        more: str = _MAY_BE_OFF if pd.isna(row["valve_id"]) else ""
        if to == "fire department":
            more = f"Stand-in: {w.stand_in(row)}."
        lines.append({"line": w.words_of(line, 260), "more": more})
    send_by = "" if pd.isna(first["tell_by"]) else w.weekday(first["tell_by"])
    return {
        "to": f"the {to}" if to == "fire department" else f"our customers, {where}",
        "mark": f"{to}, {where}, {day}",
        "tell_by": f"to be sent by {send_by}" if send_by else "",
        "subject": f"{many} out of service, {where},", "day": day,
        "opening": _OPENING[to], "lines": lines, "closing": _CLOSING[to],
        "back_head": "Back in service, to be sent when it is so",
        "back": [w.words_of(line, 260) for line in frame["back_line"]]
        if to == "fire department" else [],
    }  # fmt: skip
