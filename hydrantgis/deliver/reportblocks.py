"""
What a report is made of, before it is a page: headings, sentences, figures, tables, charts.

It is put together once and set twice, as HTML and as PDF, so that the two cannot tell two stories.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.ground.table import Column, Kind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hydrantgis.ground.table import Table

_NOT_SHOWN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
MONEY = ("cost", "kits_cost", "season_cost", "job_cost", "unit_cost", "budget")
"""Columns that hold money, shown without cents."""


def shown(text: str) -> str:
    r"""
    Text as a page can show it: a character that steers and shows nothing becomes a mark.

    Examples
    --------
    >>> shown("12 Mill Rd\x1b[2J")
    '12 Mill Rd\ufffd[2J'
    """
    return _NOT_SHOWN.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 2 begins a part, level 3 a piece of it."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; a `note` is set smaller, one to `keep` stays with what follows."""

    text: str
    note: bool = False
    keep: bool = False


@dataclass(frozen=True, slots=True)
class Card:
    """
    One figure.

    Attributes
    ----------
    value
        As it is read, with its unit.
    label
        What it is.
    note
        Of what, without what.
    """

    value: str
    label: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Cards:
    """Figures side by side; the first one is set larger where it `leads`."""

    cards: tuple[Card, ...]
    leads: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """
    A table.

    Attributes
    ----------
    title
        What stands above it.
    heads, rows
        Cells as text.
    right
        Columns that are set to the right.
    total
        Whether the last row sums up the others.
    note
        What stands below it.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()
    total: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Chart:
    """
    A chart.

    Attributes
    ----------
    title
        What stands above it.
    svg
        The picture.
    alt
        What it shows, in words that do without it.
    note
        What stands below it.
    """

    title: str
    svg: str
    alt: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Beside:
    """Blocks in two columns, side by side where there is room; `share` is that of the left one."""

    left: tuple[Block, ...]
    right: tuple[Block, ...]
    share: float = 0.5


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows begins on a page of its own, on paper."""


Block = Heading | Words | Cards | Grid | Chart | Beside | NewPage


@dataclass(frozen=True, slots=True, kw_only=True)
class Pages:
    """
    A whole report.

    Attributes
    ----------
    title
        Of the report.
    under
        Lines below it: what it rests on.
    foot
        What stands at the foot of every page.
    blocks
        What it is made of.
    """

    title: str
    under: tuple[str, ...]
    foot: str
    blocks: tuple[Block, ...]


def percent(share: float) -> str:
    """
    A share in whole per cent; never all or nothing where it is not.

    Examples
    --------
    >>> percent(0.612), percent(0.999), percent(0.001), percent(1.0), percent(float("nan"))
    ('61 %', '> 99 %', '< 1 %', '100 %', '\u2013')
    """
    if math.isnan(share):
        return "\u2013"
    if 0.99 < share < 1:
        return "> 99 %"
    return "< 1 %" if 0 < share < 0.01 else f"{100 * share:.0f} %"


def cells_of(column: Column, values: pd.Series) -> list[str]:
    """
    Values of a declared column as they are read; a missing one is blank.

    Parameters
    ----------
    column
        Its declaration: shares become per cent, money has no cents.
    values
        Of the declared kind.
    """
    if column.kind is Kind.TEXT:
        return [shown(text) for text in values.fillna("").tolist()]
    if column.kind is Kind.FLAG:
        return [{True: "yes", False: "no"}.get(value, "") for value in values.tolist()]
    if column.kind is Kind.DATE:
        return [str(text) for text in values.dt.strftime("%Y-%m-%d").fillna("").tolist()]
    if column.kind is Kind.REAL and (column.least, column.most) == (0, 1):
        return [percent(value) for value in values.tolist()]
    # a year is a name, not a count
    form = "{:,.0f}" if column.kind is Kind.INTEGER or column.name in MONEY else "{:,.1f}"
    form = "{:.0f}" if column.name.endswith("_year") else form
    return ["" if pd.isna(value) else form.format(value) for value in values.tolist()]


def grid_of(
    table: Table, frame: pd.DataFrame, names: Sequence[str], *, title: str | None = None,
    note: str = "", total: Sequence[str] = (), heads: dict[str, str] | None = None,
) -> Grid:  # fmt: skip
    """
    Some columns of a declared table.

    Parameters
    ----------
    table, frame
        The declaration and a conformed frame.
    names
        The columns.
    title
        What stands above it; the table's own where None.
    note
        What stands below it.
    total
        Columns that are summed in a last row; the first column says so.
    heads
        Other headings than the declared ones.
    """
    columns = [table[name] for name in names]
    cells = [cells_of(column, frame[column.name]) for column in columns]
    rows = list(zip(*cells, strict=True))
    summed = bool(total) and len(frame) > 1
    if summed:
        sums = {name: cells_of(table[name], pd.Series([frame[name].sum()]))[0] for name in total}
        rows.append(("all", *(sums.get(name, "") for name in names[1:])))
    right = frozenset(
        k for k, column in enumerate(columns) if column.kind in (Kind.REAL, Kind.INTEGER)
    )
    words = heads or {}
    told = tuple(words.get(column.name, column.heading) for column in columns)
    return Grid(
        table.title if title is None else title, told, tuple(rows), right, summed, note
    )  # fmt: skip
