"""
Charts of a report: heights, areas beside the whole, a cohort season by season.

Hatching, shape and words tell what color tells, so that a chart says the same in black and white.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, PercentFormatter

from hydrantgis.deliver.charts import FONT, printable
from hydrantgis.deliver.looks import FAINT, HATCHES, INK, LOOKS
from hydrantgis.deliver.reportblocks import percent
from hydrantgis.ground.reports import MEASURED_VERDICTS
from hydrantgis.standards.rules import Window

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

_LINE, _SMALL, _PLAIN = "#1f5a7a", 7.5, 8.5
_NAME_LETTERS = 26
_WIDE_IN = 4.7


def _bare(axes: Axes, *, left: bool = True) -> None:
    axes.tick_params(labelsize=_SMALL, labelcolor=INK, color=FAINT)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(FAINT)
    axes.spines["left"].set_visible(left)
    axes.set_axisbelow(True)


def heights_chart(bins: pd.DataFrame, *, lo_in: float, hi_in: float) -> Figure:
    """
    How many hydrants stand at which height, the window drawn.

    Parameters
    ----------
    bins
        The `height_bins` table, with rows.
    lo_in, hi_in
        The window; infinite where there is no limit. [in]
    """
    figure = Figure(figsize=(_WIDE_IN, 3.1))
    axes = figure.add_axes((0.09, 0.225, 0.895, 0.69))
    edges = bins["from_in"].iloc[1:].to_numpy(dtype=np.float64)
    width = float(edges[1] - edges[0])
    at = np.append(edges - width, edges[-1]) + width / 2.0
    below = np.zeros(len(bins))
    for look in (k for k in LOOKS if k.value in MEASURED_VERDICTS):
        many = bins[look.value].to_numpy(dtype=np.float64)
        if many.any():
            axes.bar(
                at, many, width=0.94 * width, bottom=below, color=look.fill, edgecolor="white",
                linewidth=0.0, hatch=HATCHES[look.value], label=f"{look.label} {many.sum():,.0f}",
            )  # fmt: skip
        below += many
    top = float(below.max(initial=1.0)) * 1.06
    first, last = float(at[0] - width / 2), float(at[-1] + width / 2)
    lo, hi = max(lo_in, first), min(hi_in, last)
    axes.axvspan(lo, hi, color="#e3ecf2", zorder=0)
    for end in (end for end in (lo_in, hi_in) if np.isfinite(end)):
        axes.axvline(end, color=INK, linewidth=1.2, linestyle=(0, (4, 2)))
    axes.text(
        (lo + hi) / 2, 1.015 * top, f"window {Window(lo_in=lo_in, hi_in=hi_in)}", ha="center",
        va="bottom", fontsize=_SMALL, weight="bold", color=INK, family=FONT,
    )  # fmt: skip
    axes.set_xlim(first, last)
    axes.set_ylim(0, top)
    axes.xaxis.set_major_locator(MaxNLocator(9, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=True))
    axes.grid(axis="y", color=FAINT, linewidth=0.4, alpha=0.5)
    axes.set_xlabel("outlet height, in", fontsize=_SMALL, family=FONT, color=INK, labelpad=2)
    axes.set_title("hydrants", loc="left", fontsize=_SMALL, family=FONT, color=INK, x=-0.07)
    _bare(axes)
    figure.legend(
        *axes.get_legend_handles_labels(), loc="lower center", ncols=4, frameon=False,
        fontsize=_SMALL, bbox_to_anchor=(0.53, -0.02), handlelength=1.6, columnspacing=1.3,
    )  # fmt: skip
    return figure


def shares_chart(names: list[str], rows: pd.DataFrame, *, whole: float) -> Figure:
    """
    The share inside of each group with its interval, beside that of all.

    Parameters
    ----------
    names
        Of the groups.
    rows
        With `inside`, `measured`, `inside_share`, `share_low` and `share_high`.
    whole
        The share of all, as a line.
    """
    count = len(rows)
    told = [_short(name) for name in names]
    longest = max((len(line) for name in told for line in name.split("\n")), default=0)
    left = min(0.04 + 0.0145 * longest, 0.38)
    row = 0.26 if any("\n" in name for name in told) else 0.235
    high = max(3.1, 0.95 + row * count)
    figure = Figure(figsize=(_WIDE_IN, high))
    axes = figure.add_axes((left, 0.48 / high, 0.845 - left, 1 - 0.80 / high))
    at = np.arange(count)
    share, low, up = (
        rows[name].to_numpy(dtype=np.float64)
        for name in ("inside_share", "share_low", "share_high")
    )
    axes.axvline(whole, color=INK, linewidth=1.1, linestyle=(0, (4, 2)))
    away = (up < whole) | (low > whole)
    axes.hlines(at, low, up, color=_LINE, linewidth=np.where(away, 2.6, 1.3).tolist())
    axes.plot(share[~away], at[~away], "o", color="white", markeredgecolor=_LINE, markersize=5.5,
              markeredgewidth=1.3, clip_on=False, zorder=3)  # fmt: skip
    axes.plot(share[away], at[away], "D", color=_LINE, markersize=6, clip_on=False, zorder=3)
    for y, (inside, measured) in enumerate(
        zip(rows["inside"].tolist(), rows["measured"].tolist(), strict=True)
    ):
        counts = f"{inside:,} of {measured:,}" if measured else "0"
        axes.text(1.03, y, counts, transform=axes.get_yaxis_transform(), va="center",
                  fontsize=_SMALL, family=FONT, color=INK)  # fmt: skip
        if not measured:
            axes.text(0.5, y, "none measured", va="center", ha="center", fontsize=_SMALL,
                      family=FONT, color=INK, style="italic")  # fmt: skip
    axes.set_yticks(at, told, parse_math=False, family=FONT)
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_xlim(0, 1)
    axes.xaxis.set_major_formatter(PercentFormatter(1.0, symbol=" %"))
    axes.set_xticks([0, 0.25, 0.5, 0.75, 1.0])
    axes.grid(axis="x", color=FAINT, linewidth=0.4, alpha=0.5)
    _bare(axes, left=False)
    axes.tick_params(axis="y", length=0)
    axes.text(whole, -0.72, f"all: {percent(whole)}", ha="center", va="bottom", fontsize=_SMALL,
              weight="bold", family=FONT, color=INK)  # fmt: skip
    axes.set_xlabel("inside, of those measured; line: 95 % interval", fontsize=_SMALL, family=FONT,
                    color=INK, labelpad=2)  # fmt: skip
    return figure


def _short(name: str) -> str:
    lines = textwrap.wrap(printable(name), _NAME_LETTERS)
    return "\n".join(
        lines if len(lines) < 3 else [lines[0], f"{lines[1][: _NAME_LETTERS - 1]}\u2026"]
    )


def trend_chart(table: pd.DataFrame) -> Figure:
    """
    The share inside of a cohort, season by season, with its interval.

    Parameters
    ----------
    table
        The `trend` table, with rows.
    """
    figure = Figure(figsize=(_WIDE_IN, 2.7))
    axes = figure.add_axes((0.13, 0.19, 0.84, 0.70))
    at = np.arange(len(table))
    share, low, high = (
        table[name].to_numpy(dtype=np.float64)
        for name in ("inside_share", "share_low", "share_high")
    )
    axes.vlines(at, low, high, color=_LINE, linewidth=1.2)
    axes.plot(at, share, color=_LINE, linewidth=1.6, marker="o", markersize=6)
    for x, y in zip(at, share, strict=True):
        axes.annotate(percent(y), (x, y), (7, 4), textcoords="offset points", fontsize=_PLAIN,
                      family=FONT, color=INK)  # fmt: skip
    axes.set_xticks(at, [f"{year}" for year in table["season_year"]])
    axes.set_xlim(-0.4, len(table) - 0.5)
    axes.set_ylim(0, 1.05)
    axes.yaxis.set_major_formatter(PercentFormatter(1.0, symbol=" %"))
    axes.set_title(f"inside, of the same {table['hydrants'].iloc[0]:,} hydrants", loc="left",
                   fontsize=_SMALL, family=FONT, color=INK)  # fmt: skip
    axes.grid(axis="y", color=FAINT, linewidth=0.4, alpha=0.5)
    _bare(axes)
    return figure
