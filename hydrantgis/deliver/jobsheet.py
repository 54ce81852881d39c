"""
The sheet of the jobs: what the plan does with each, what the planner decides, and the sums of both.

Sums go by a number of the area and by columns that are not shown, never by the place of a row, so
that a filter and a sort leave them right. An area's id is no criterion of a sum: a spreadsheet
takes `0012` and `12` for one, and `*` for all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hydrantgis.deliver.booksheets import (
    CENTS,
    DATE,
    HAIR,
    HEAD_HEIGHT,
    MONEY,
    OVER,
    PROTECTED,
    TENTHS,
    TEXT,
    YOURS,
    YOURS_HEAD,
    as_cell,
    grow_rows,
    hush,
    lines_of,
    printed,
    write_cells,
    write_top,
)  # fmt: skip
from hydrantgis.deliver.looks import BOUNDARY, INK
from hydrantgis.ground import columns as c
from hydrantgis.ground.plannerbook import (
    CREWS_AT,
    HEADINGS,
    HYDRANT_HEADING,
    JOBS_SHEET,
    SENT_SHEET,
    WEEKS_AT,
)  # fmt: skip
from hydrantgis.ground.seasons import DECISIONS, SELECTION

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from hydrantgis.deliver.booksheets import Looks
    from hydrantgis.standards.season import SeasonWords

MOBILISATION_COST, MOBILISATION_HOURS = "mobilisation_cost", "mobilisation_hours"
"""Names of cells that formulas use."""

_S = SELECTION
_SHOWN = (
    (replace(_S["hydrant_id"], title=HYDRANT_HEADING), 10),
    (_S["area_id"], 8),
    (_S["address"], 21),
    (_S["remedy"], 10),
    (replace(_S["kit_id"], title="Kit"), 12),
    (replace(_S["outlet_height_in"], title="Height now"), 9),
    (replace(_S["outlet_height_after_in"], title="Height after"), 9),
    (_S["priority"], 8),
    (_S["priority_reasons"], 44),
    (c.real("cost", "Cost", "Of the job and its share of the driving.", 0), 9),
    (c.real("hours", "Crew hours", "Of the job and its share of the driving.", 0), 9),
    (c.real("drive", "of which driving", "Its share of what crews drive, in hours.", 0), 10),
    (c.flag("selected", "In plan", "Whether the plan does it."), 7),
    (_S["why"], 35),
    (_S["work_date"], 11),
    (_S["crew_id"], 6),
    (_S["week"], 10),
    (c.text("decision", HEADINGS["decision"], "Yours: include or exclude."), 10),
    (c.text("wanted_crew", HEADINGS["crew"], "Yours: the crew that is to do it."), 9),
    (c.text("wanted_week", HEADINGS["week"], "Yours: the week in which it is to be done."), 10),
    (c.text("note", HEADINGS["note"], "Yours: whatever has to be known."), 24),
    (c.text("after", "In plan after edits", "The plan's choice with your decisions."), 11),
)
SHOWN = tuple(column for column, _ in _SHOWN)
"""Columns that are seen, in order."""
_UNSEEN = ("area_number", "cost_in", "hours_in", "priority_in", "drive_in", "area_in", "sent")
_AT = {name: k for k, name in enumerate([*(column.name for column in SHOWN), *_UNSEEN])}
_YOURS = ("decision", "wanted_crew", "wanted_week", "note")
_SUMMED = ("priority", "cost", "hours", "drive")
_FORMATS = {"priority": CENTS, "cost": MONEY, "hours": TENTHS, "drive": TENTHS, "work_date": DATE}
_WRAPPED = ("address", "kit_id", "priority_reasons", "why", "note")
_PLANNED, _AFTER, _THERE, _LEFT, _HEADS, _FIRST = 2, 3, 4, 5, 6, 7
_NO_AREA, _NO_PRICE = "(none)", " without a price count as 0"
_TABLOID = 17


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """
    What the sums of a workbook go by.

    Attributes
    ----------
    hour_cost
        Of one hour of a crew, on the way too. [money]
    area_cost, area_hours
        Of every area that is worked in: money, its hours paid; and those hours. [money, h]
    drive
        Share of each job in what crews drive, in the order of the selection. [h]
    available, crew_hours
        What there is; hours None where nobody says. [money, h]
    """

    hour_cost: float
    area_cost: float
    area_hours: float
    drive: pd.Series
    available: float
    crew_hours: float | None


def write_jobs(
    book: Workbook, looks: Looks, selection: pd.DataFrame, words: SeasonWords, sums: Sums, *,
    crews: int, weeks: int, footer: str,
) -> None:  # fmt: skip
    """
    Write the sheet of the jobs.

    Parameters
    ----------
    book, looks
        The workbook and its formats.
    selection
        Every job, in the plan or not.
    words
        The season.
    sums
        What the sums go by.
    crews, weeks
        How many stand on the hidden sheet, for the lists to choose from.
    footer
        Of each page.
    """
    sheet = book.add_worksheet(JOBS_SHEET)
    sheet.hide_gridlines(2)
    jobs = _laid_out(selection, sums)
    last = int(jobs["row"].max()) + 1 if len(jobs) else _FIRST
    write_top(
        sheet, looks, f"{words.title}: jobs",
        f"Money in {words.money}. Fill in the tinted columns; the sums above the list follow. How "
        "to send it back stands on the last sheet.",
    )  # fmt: skip
    for place, (column, wide) in enumerate(_SHOWN):
        yours = column.name in _YOURS
        sheet.set_column(place, place, wide)
        look = looks.head(align=_align(column.name), yours=yours)
        sheet.write_string(_HEADS, place, column.heading, look)
    sheet.set_column(_AT["area_number"], _AT["sent"], None, None, {"hidden": True})
    for name in _UNSEEN:
        sheet.write_string(_HEADS, _AT[name], name, looks.head("left"))
    sheet.set_row(_HEADS, HEAD_HEIGHT)
    areas = _write_rows(sheet, looks, jobs)
    _write_subtotals(sheet, looks, areas, sums, last)
    _write_band(sheet, looks, areas, sums, last)
    _lists(sheet, last, crews, weeks)
    _shades(sheet, book, last)
    hush(sheet, last, _AT["after"])
    sheet.autofilter(_HEADS, 0, last, _AT["sent"])
    sheet.freeze_panes(_FIRST, 2)
    printed(sheet, footer=footer, heading_row=_HEADS, last=(last, _AT["after"]), paper=_TABLOID)
    sheet.protect("", PROTECTED)


def _align(name: str) -> str:
    if name in ("selected", "after"):
        return "center"
    return "right" if _is_number(name) else "left"


def _is_number(name: str) -> bool:
    return name in (*_SUMMED, "outlet_height_in", "outlet_height_after_in")


def _laid_out(selection: pd.DataFrame, sums: Sums) -> pd.DataFrame:
    """The jobs by area, those of the plan first, each with its row and its number of the area."""
    plain = pd.DataFrame(selection[SELECTION.names])
    drive = pd.Series(sums.drive.to_numpy(), index=plain.index)
    jobs = plain.assign(
        drive=drive, cost=plain["job_cost"] + drive * sums.hour_cost,
        hours=plain["job_hours"] + drive, area_id=plain["area_id"].fillna(_NO_AREA),
        wanted_crew=plain["asked_crew"], wanted_week=plain["asked_week"],
        selected=plain["selected"].fillna(False),
    )  # fmt: skip
    jobs = jobs.sort_values(
        ["area_id", "selected", "priority", "hydrant_id"], ascending=[True, False, False, True],
        kind="stable",
    ).reset_index(drop=True)  # fmt: skip
    number = pd.factorize(jobs["area_id"])[0]
    # after each area comes a row with its sums
    return jobs.assign(area_number=number, row=_FIRST + np.arange(len(jobs)) + number)


def _cell(name: str, row: int, *, fixed: bool = False) -> str:
    from xlsxwriter.utility import xl_rowcol_to_cell

    told: str = xl_rowcol_to_cell(row, _AT[name], row_abs=fixed, col_abs=True)
    return told


def _all(name: str, last: int) -> str:
    return f"{_cell(name, _FIRST, fixed=True)}:{_cell(name, last, fixed=True)}"


def _write_rows(sheet: Worksheet, looks: Looks, jobs: pd.DataFrame) -> pd.DataFrame:
    """Write the jobs; the sums of each area come back."""
    for number in range(int(jobs["area_number"].max()) + 1 if len(jobs) else 0):  # a few areas
        ours = jobs[jobs["area_number"] == number]
        start = int(ours["row"].iloc[0])
        for column in SHOWN[:-1]:
            write_cells(
                sheet, start, _AT[column.name], column, ours[column.name],
                _look_of(looks, column.name),
            )  # fmt: skip
    widths = {column.name: wide for column, wide in _SHOWN}
    lines = [lines_of(jobs[name], widths[name]) for name in _WRAPPED]
    grow_rows(sheet, jobs["row"].tolist(), np.max(lines, axis=0))
    inside = jobs["selected"].astype(bool)
    said = inside.map({True: "yes", False: "no"}).tolist()
    after, plain = looks.cell(num_format=TEXT, align="center"), looks()
    sent = jobs["decision"].fillna("").tolist()
    values = {name: jobs[name].where(inside, 0.0).fillna(0.0).tolist() for name in _SUMMED}
    numbers = jobs["area_number"].tolist()
    for k, row in enumerate(jobs["row"].tolist()):
        said_now, planned = f"TRIM({_cell('decision', row)})", _cell("selected", row)
        sheet.write_number(row, _AT["area_number"], numbers[k], plain)
        sheet.write_string(row, _AT["sent"], as_cell(sent[k]), plain)
        # a decision that stood there when it was sent is in the plan already
        sheet.write_formula(
            row, _AT["after"],
            f'=IF(OR({said_now}="",{said_now}={_cell("sent", row)}),{planned},'
            f'IF({said_now}="{DECISIONS[0]}","yes",IF({said_now}="{DECISIONS[1]}","no",{planned})))',
            after, said[k],
        )  # fmt: skip
        for name in _SUMMED:
            sheet.write_formula(
                row, _AT[f"{name}_in"],
                f'=IF({_cell("after", row)}="yes",{_cell(name, row)},0)', plain, values[name][k],
            )  # fmt: skip
    return _by_area(jobs, inside)


def _by_area(jobs: pd.DataFrame, inside: pd.Series) -> pd.DataFrame:
    unpriced = (inside & jobs["cost"].isna()).astype(int)
    planned = jobs.assign(jobs_in=inside.astype(int), unpriced=unpriced)
    planned[[*_SUMMED]] = planned[[*_SUMMED]].where(inside, 0.0)
    return planned.groupby("area_number").agg(
        area_id=("area_id", "first"), area_title=("area_title", "first"), row=("row", "max"),
        jobs=("row", "size"), jobs_in=("jobs_in", "sum"), unpriced=("unpriced", "sum"),
        **{name: (name, "sum") for name in _SUMMED},
    )  # fmt: skip


def _look_of(looks: Looks, name: str) -> Format:
    if name in _YOURS:
        return looks(
            num_format=TEXT, bg_color=YOURS, border=1, border_color=HAIR, locked=False,
            text_wrap=name == "note", align="left",
        )  # fmt: skip
    number = _FORMATS.get(name, CENTS if _is_number(name) else TEXT)
    return looks.cell(
        num_format=number, align=_align(name),
        text_wrap=name in _WRAPPED,
    )  # fmt: skip


def _write_subtotals(
    sheet: Worksheet, looks: Looks, areas: pd.DataFrame, sums: Sums, last: int
) -> None:
    """Below each area its jobs that are in, and what they take with one mobilisation."""
    line: dict[str, Any] = {
        "bold": True, "top": 1, "top_color": INK, "bottom": 1, "bottom_color": INK,
        "bg_color": "#f4f2ec",
    }  # fmt: skip
    text, blank = looks(**line), looks(**line, font_color=BOUNDARY)
    mobilised = {"cost": (MOBILISATION_COST, sums.area_cost),
                 "hours": (MOBILISATION_HOURS, sums.area_hours)}  # fmt: skip
    for number, area in zip(areas.index.tolist(), areas.to_dict("records"), strict=True):
        row = int(area["row"]) + 1
        for place in range(len(SHOWN)):
            sheet.write_blank(row, place, None, blank)
        sheet.write_string(row, _AT["area_id"], as_cell(str(area["area_id"])), text)
        title = area["area_title"]
        if isinstance(title, str):
            sheet.write_string(row, _AT["address"], as_cell(title), text)
        own = f"{_all('area_number', last)},{number}"
        opened = bool(area["jobs_in"])
        counted = f'COUNTIFS({own},{_all("after", last)},"yes")'
        sheet.write_formula(
            row, _AT["remedy"], f'={counted}&" of {area["jobs"]} jobs in"', text,
            f"{area['jobs_in']} of {area['jobs']} jobs in",
        )  # fmt: skip
        sheet.write_string(
            row, _AT["priority_reasons"], "cost and hours with one mobilisation", looks(
                **{**line, "bold": False}, font_color=BOUNDARY, align="right"),
        )  # fmt: skip
        sheet.write_formula(row, _AT["area_in"], f"=IF({counted}>0,1,0)", looks(), int(opened))
        for name in _SUMMED:
            formula = f"=SUMIFS({_all(f'{name}_in', last)},{own})"
            value = float(area[name])
            if name in mobilised:
                named, once = mobilised[name]
                formula += f"+{_cell('area_in', row)}*{named}"
                value += once * opened
            look = looks(**line, num_format=_FORMATS[name], align="right")
            sheet.write_formula(row, _AT[name], formula, look, value)


def _write_band(sheet: Worksheet, looks: Looks, areas: pd.DataFrame, sums: Sums, last: int) -> None:
    """Above the list: the plan's sums, what edits make of them, what there is and what is left."""
    opened = int((areas["jobs_in"] > 0).sum())
    planned = {name: float(areas[name].sum()) for name in _SUMMED}
    planned["cost"] += opened * sums.area_cost
    planned["hours"] += opened * sums.area_hours
    jobs = int(areas["jobs_in"].sum())
    said = f"{jobs} jobs in {opened} areas"
    formulas = {name: f"=SUM({_all(f'{name}_in', last)})" for name in _SUMMED}
    formulas["cost"] += f"+SUM({_all('area_in', last)})*{MOBILISATION_COST}"
    formulas["hours"] += f"+SUM({_all('area_in', last)})*{MOBILISATION_HOURS}"
    bold, plain = looks(bold=True), looks()
    for row, label in (
        (_PLANNED, "As planned"), (_AFTER, "After edits"), (_THERE, "Available"), (_LEFT, "Left"),
    ):  # fmt: skip
        sheet.write_string(row, 0, label, bold if row in (_AFTER, _LEFT) else plain)
    sheet.write_string(_PLANNED, _AT["address"], said, plain)
    sheet.write_formula(
        _AFTER, _AT["address"],
        f'=COUNTIF({_all("after", last)},"yes")&" jobs in "&SUM({_all("area_in", last)})&" areas"',
        bold, said,
    )  # fmt: skip
    for name in _SUMMED:
        number = looks(num_format=_FORMATS[name], align="right")
        strong = looks(num_format=_FORMATS[name], align="right", bold=True)
        sheet.write_number(_PLANNED, _AT[name], planned[name], number)
        sheet.write_formula(_AFTER, _AT[name], formulas[name], strong, planned[name])
    for name, there in (("cost", sums.available), ("hours", sums.crew_hours)):
        if there is None:
            continue
        number = looks(num_format=_FORMATS[name], align="right")
        strong = looks(
            num_format=_FORMATS[name], align="right", bold=True, top=1, top_color=BOUNDARY
        )
        sheet.write_number(_THERE, _AT[name], there, number)
        # what lies below a cent or a second is of the sums, not of the plan
        left = f"=ROUND({_cell(name, _THERE)}-{_cell(name, _AFTER)},4)"
        sheet.write_formula(_LEFT, _AT[name], left, strong, round(there - planned[name], 4))
    cost, hours = _cell("cost", _LEFT), _cell("hours", _LEFT)
    over = f'=IF({cost}<0,"over the budget",IF({hours}<0,"over the crew hours",""))'
    sheet.write_formula(_LEFT, _AT["address"], over, bold, _over(planned, sums))
    unknown = int(areas["unpriced"].sum())
    unpriced = f'COUNTIFS({_all("after", last)},"yes",{_all("cost", last)},"")'
    sheet.write_formula(
        _AFTER, _AT["priority_reasons"],
        f'=IF({unpriced}>0,{unpriced}&"{_NO_PRICE}","")',
        looks(align="right", font_color=OVER),
        f"{unknown}{_NO_PRICE}" if unknown else "",
    )  # fmt: skip


def _over(planned: dict[str, float], sums: Sums) -> str:
    if round(sums.available - planned["cost"], 4) < 0:
        return "over the budget"
    if sums.crew_hours is not None and round(sums.crew_hours - planned["hours"], 4) < 0:
        return "over the crew hours"
    return ""


def _lists(sheet: Worksheet, last: int, crews: int, weeks: int) -> None:
    """What can be chosen in a cell; a crew or week of another kind is asked about, not refused."""
    from xlsxwriter.utility import xl_range_abs

    def on_sent(place: int, count: int) -> str:
        return f"='{SENT_SHEET}'!{xl_range_abs(1, place, max(count, 1), place)}"

    def offer(name: str, source: object, kind: str, told: str) -> None:
        sheet.data_validation(
            _FIRST, _AT[name], last, _AT[name],
            {"validate": "list", "source": source, "error_type": kind, "error_title": "Check",
             "error_message": told, "ignore_blank": True},
        )  # fmt: skip

    offer("decision", list(DECISIONS), "stop", "Choose include or exclude, or leave it blank.")
    offer("wanted_crew", on_sent(CREWS_AT, crews), "warning", "No crew of the season has this id.")
    offer(
        "wanted_week", on_sent(WEEKS_AT, weeks), "warning", "Write a week of the season: 2027-W14."
    )


def _shades(sheet: Worksheet, book: Workbook, last: int) -> None:
    """Red where it is over; what was changed stands out; what is not in steps back."""
    red = book.add_format({"font_color": OVER, "bold": True, "bg_color": "#fbe6e2"})
    changed = book.add_format({"bold": True, "bg_color": YOURS_HEAD})
    out = book.add_format({"font_color": "#77756c"})
    for name in ("cost", "hours"):
        for row in (_LEFT, _AFTER):
            sheet.conditional_format(
                row, _AT[name], row, _AT[name],
                {"type": "formula", "criteria": f"={_cell(name, _LEFT, fixed=True)}<0",
                 "format": red},
            )  # fmt: skip
    sheet.conditional_format(
        _LEFT, _AT["address"], _LEFT, _AT["address"],
        {"type": "formula", "criteria": f'={_cell("address", _LEFT, fixed=True)}<>""',
         "format": red},
    )  # fmt: skip
    after, planned = _cell("after", _FIRST), _cell("selected", _FIRST)
    sheet.conditional_format(
        _FIRST, _AT["after"], last, _AT["after"],
        {"type": "formula", "criteria": f"={after}<>{planned}", "format": changed},
    )  # fmt: skip
    sheet.conditional_format(
        _FIRST, 0, last, _AT["week"],
        {"type": "formula", "criteria": f'={after}="no"', "format": out},
    )  # fmt: skip
