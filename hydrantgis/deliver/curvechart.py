"""
The chart of what money brings: jobs and priority against the budget.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from hydrantgis.deliver.charts import FONT, printable
from hydrantgis.deliver.looks import FAINT, INK, PAPER

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

_LINE = "#1f5a7a"


def curve_chart(table: pd.DataFrame, *, title: str, money: str) -> Figure:
    """
    Two panels, one above the other: jobs, and the priority that is gained.

    Parameters
    ----------
    table
        The `curve` table.
    title
        The season in words.
    money
        Of the budgets.
    """
    figure = Figure(figsize=(9.0, 6.4), facecolor=PAPER)
    upper, lower = figure.subplots(2, 1, sharex=True)
    figure.subplots_adjust(left=0.10, right=0.97, top=0.86, bottom=0.11, hspace=0.14)
    _panel(upper, table, "jobs", "jobs that are done")
    _panel(lower, table, "priority", "priority gained")
    lower.set_xlabel(f"budget, {printable(money)}, contingency included", fontsize=9, family=FONT,
                     color=INK, parse_math=False)  # fmt: skip
    lower.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
    now = table[table["is_now"].fillna(False)]
    if len(now):
        upper.annotate(
            "this season", (float(now["budget"].iloc[0]), 1.0), (6, -4), ha="left", va="top",
            xycoords=("data", "axes fraction"), textcoords="offset points", fontsize=9, color=INK,
            family=FONT,
        )  # fmt: skip
    figure.text(0.02, 0.955, "What money brings", fontsize=15, family=FONT, color=INK, va="center")
    # a title is text, and no formula
    figure.text(0.02, 0.905, f"{printable(title)}; crews and days as they are", fontsize=9,
                family=FONT, color=INK, va="center", parse_math=False)  # fmt: skip
    return figure


def _panel(axes: Axes, table: pd.DataFrame, name: str, label: str) -> None:
    budget = table["budget"].to_numpy(dtype=np.float64)
    value = table[name].to_numpy(dtype=np.float64)
    axes.plot(budget, value, color=_LINE, linewidth=1.8, marker="o", markersize=5)
    now = table["is_now"].fillna(False).to_numpy(dtype=bool)
    axes.plot(budget[now], value[now], "D", color=INK, markersize=9)
    for x, y in zip(budget[now], value[now], strict=True):
        axes.axvline(x, color=FAINT, linewidth=1.0, linestyle=(0, (4, 3)))
        axes.annotate(f"{y:,.0f}", (x, y), (9, -12), textcoords="offset points", fontsize=10,
                      color=INK, family=FONT)  # fmt: skip
    axes.set_ylabel(label, fontsize=9, family=FONT, color=INK)
    axes.set_facecolor(PAPER)
    axes.set_ylim(bottom=0, top=max(float(value.max(initial=0.0)) * 1.12, 1.0))
    axes.set_xlim(left=0)
    axes.tick_params(labelsize=8, labelcolor=INK, color=FAINT)
    axes.grid(axis="y", color=FAINT, linewidth=0.4, alpha=0.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(FAINT)
