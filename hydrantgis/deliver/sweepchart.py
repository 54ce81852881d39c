"""
The chart of a window sweep: how hydrants stand under each window, and what the kits come to.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from hydrantgis.deliver.charts import FONT
from hydrantgis.deliver.looks import FAINT, HATCHES, INK, LOOKS, PAPER
from hydrantgis.standards.rules import Window

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

_DARK = ("inside", "low", "high")
"""Verdicts on whose color light figures stand."""
_WIDE_IN, _ROW_IN, _HEAD_IN = 11.0, 0.36, 2.1


def sweep_chart(table: pd.DataFrame, *, title: str, money: str | None) -> Figure:
    """
    A bar a window, parted by verdict, with kits and their cost beside it.

    Parameters
    ----------
    table
        The `sweep` table.
    title
        The rule in words.
    money
        Of the costs; None where the catalogue has none.
    """
    rows = len(table)
    figure = Figure(figsize=(_WIDE_IN, _HEAD_IN + _ROW_IN * rows), facecolor=PAPER)
    low, high = 0.75 / figure.get_figheight(), 1 - 1.15 / figure.get_figheight()
    axes = figure.add_axes((0.15, low, 0.50, high - low))
    verdicts = [look for look in LOOKS if look.value]
    left, at = np.zeros(rows), np.arange(rows)
    for look in verdicts:
        many = table[look.value].to_numpy(dtype=np.float64)
        axes.barh(
            at, many, left=left, height=0.72, color=look.fill, edgecolor=look.edge, linewidth=0.7,
            hatch=HATCHES[look.value], label=look.label,
        )  # fmt: skip
        _numbers(axes, at, left, many, fill=look.fill, light=look.value in _DARK)
        left += many
    _scales(axes, table, 1.004 * left.max(initial=1.0))
    _beside(axes, table, money)
    figure.text(0.02, 1 - 0.30 / figure.get_figheight(), "Under other windows", fontsize=15,
                family=FONT, color=INK, va="center")  # fmt: skip
    figure.text(0.02, 1 - 0.62 / figure.get_figheight(), title, fontsize=9, family=FONT,
                color=INK, va="center")  # fmt: skip
    figure.legend(
        *axes.get_legend_handles_labels(), loc="lower left", ncols=len(verdicts), frameon=False,
        fontsize=9, bbox_to_anchor=(0.14, 0.0),
    )  # fmt: skip
    return figure


def _numbers(
    axes: Axes,
    at: NDArray[np.intp],
    left: NDArray[np.float64],
    many: NDArray[np.float64],
    *,
    fill: str,
    light: bool,
) -> None:
    """How many stand in each part that is wide enough."""
    whole = float((left + many).max(initial=1.0))
    for row in np.flatnonzero(many > 0.045 * max(whole, 1.0)):
        axes.text(
            left[row] + many[row] / 2, at[row], f"{many[row]:,.0f}", ha="center", va="center",
            fontsize=8, family=FONT, color=PAPER if light else INK,
            bbox={"facecolor": fill, "edgecolor": "none", "pad": 1.5},
        )  # fmt: skip


def _scales(axes: Axes, table: pd.DataFrame, most: float) -> None:
    axes.set_yticks(np.arange(len(table)), [_name(row) for row in table.to_dict("records")])
    axes.tick_params(axis="y", length=0, labelsize=9, labelcolor=INK)
    axes.tick_params(axis="x", labelsize=8, labelcolor=INK, color=FAINT)
    axes.set_xlim(0, most)
    axes.set_ylim(len(table) - 0.4, -0.6)
    axes.set_facecolor(PAPER)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(FAINT)
    axes.set_xlabel("hydrants that are judged", fontsize=8, family=FONT, color=INK)


def _name(row: Mapping[Any, Any]) -> str:
    low, high = row["window_lo_in"], row["window_hi_in"]
    window = Window(lo_in=-np.inf if pd.isna(low) else low, hi_in=np.inf if pd.isna(high) else high)
    return f"{window}{' (now)' if row['is_now'] else ''}"


def _beside(axes: Axes, table: pd.DataFrame, money: str | None) -> None:
    """Columns of figures right of the bars."""
    cost = table["kits_cost"]
    columns = [
        ("change\nverdict", table["changed"].map("{:,}".format)),
        ("kits", table["kits"].map("{:,}".format)),
        (
            f"kits cost\n{money or ''}".strip(),
            cost.map("{:,.0f}".format).where(cost.notna(), "?")
            + np.where(table["kits_unpriced"] > 0, " +", ""),
        ),
        ("replace", table["to_replace"].map("{:,}".format)),
        ("lower,\nregrade", (table["to_lower"] + table["to_regrade"]).map("{:,}".format)),
        ("engineer\nto review", table["to_review"].map("{:,}".format)),
    ]
    if money is None:
        del columns[2]
    for place, (head, cells) in enumerate(columns):
        x = 1.12 + 0.105 * place
        for y, text in enumerate(cells):
            axes.text(x, y, text, transform=axes.get_yaxis_transform(), ha="right", va="center",
                      fontsize=9, family=FONT, color=INK)  # fmt: skip
        axes.text(x, -0.75, head, transform=axes.get_yaxis_transform(), ha="right", va="bottom",
                  fontsize=8, family=FONT, color=INK)  # fmt: skip
