"""
The same hydrants under other windows: what an engineer shows when the code is about to change.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.assess import check as assess
from hydrantgis.assess.scenario import effects
from hydrantgis.deliver.charts import save_chart
from hydrantgis.deliver.lists import write_csv
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.results import KIT_REMEDIES, OTHER_LISTS, SWEEP, VERDICTS
from hydrantgis.standards.rules import Window

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from hydrantgis.job.checking import Checked

_MOST_IN = 120.0
MOST_WINDOWS = 60
"""So many windows are tried at once; a chart of more nobody reads."""
_END = r"(?:(\d+(?:\.\d+)?)(?:-(\d+(?:\.\d+)?))?)?"


def windows_of(said: Sequence[str]) -> list[Window]:
    """
    Windows from what was typed.

    Parameters
    ----------
    said
        `LO:HI` in inches each; an end left out is no limit, `15-18:24` is four windows.

    Raises
    ------
    WordsError
        One is no window, or there are too many.

    Examples
    --------
    >>> [str(window) for window in windows_of(["15-16:24", "18:"])]
    ['15 to 24 in', '16 to 24 in', '18 in or more']
    """
    windows: list[Window] = []
    for word in said:
        found = re.fullmatch(f"{_END}:{_END}", word.replace(" ", ""))
        if found is None:
            raise _no_window(word)
        first, last, low, high = (None if v is None else float(v) for v in found.groups())
        if (first is None and low is None) or max(
            v or 0.0 for v in (first, last, low, high)
        ) > _MOST_IN:
            raise _no_window(word)
        los, his = _steps(first, last, -np.inf), _steps(low, high, np.inf)
        if not los or not his or max(los) >= min(his):
            raise _no_window(word)
        windows += [Window(lo_in=lo, hi_in=hi) for lo, hi in itertools.product(los, his)]
        if len(windows) > MOST_WINDOWS:
            raise WordsError(
                "too many windows at once", found=f"{len(windows)}",
                accepted=f"up to {MOST_WINDOWS}", do="name fewer, or run it twice",
            )  # fmt: skip
    return list(dict.fromkeys(windows))


def _no_window(word: str) -> WordsError:
    return WordsError(
        f"`{word}` is no window",
        accepted="LO:HI in inches: 15:24, 18: without an upper limit, 15-18:24 for four of them",
    )


def _steps(first: float | None, last: float | None, none: float) -> list[float]:
    """One end, or every inch from one to another."""
    if first is None:
        return [none]
    if last is None:
        return [first]
    return [first + step for step in range(int(last - first) + 1)]


@dataclass(frozen=True, slots=True)
class Swept:
    """
    Hydrants under several windows.

    Attributes
    ----------
    table
        The `sweep` table, the window of the rule first.
    now
        The check under the rule as it is.
    """

    table: pd.DataFrame
    now: Checked

    def chart(self) -> Figure:
        """Verdicts under each window, with kits and their cost."""
        from hydrantgis.deliver.sweepchart import sweep_chart  # drawing is not for every start

        return sweep_chart(self.table, title=str(self.now.rule), money=self.now.kits.money)

    def write(self, folder: Path | str) -> list[Path]:
        """Write the table as CSV and the chart as PNG and SVG."""
        place = Path(folder)
        paths = [place / f"sweep.{kind}" for kind in ("csv", "png", "svg")]
        write_csv(paths[0], SWEEP, self.table)
        save_chart(self.chart(), paths[1:])
        return paths


def sweep(now: Checked, windows: Sequence[Window]) -> Swept:
    """
    Verdicts, remedies and the cost of kits as the window's ends move.

    Parameters
    ----------
    now
        From `hydrantgis.job.check`.
    windows
        To be tried. A window without a target aims at its middle.

    Returns
    -------
    swept
        Heights, flange window, kits and house rules stay as they are.
    """
    rows = [_row(now, now.rule.window, now.table, is_now=True)]
    for window in windows:
        if not window.lo_in < window.hi_in:
            raise WordsError(f"{window.lo_in:g} to {window.hi_in:g} in is no window")
    same = replace(now.rule.window, target_in=None)
    for window in (w for w in windows if w != same):
        rule = replace(now.rule, window=window)
        table, _ = assess.check(
            now.hydrants, now.heights.basis, rule=rule, kits=now.kits, area_ids=now.table["area_id"]
        )
        rows.append(_row(now, window, table, is_now=False))
    return Swept(SWEEP.conform(pd.DataFrame(rows)), now)


def _row(
    now: Checked, window: Window, table: pd.DataFrame, *, is_now: bool
) -> dict[str, float | int | bool | None]:
    before, verdict, remedy = now.table["verdict"], table["verdict"], table["remedy"]
    effect = effects(before, verdict)
    price = {kit.kit_id: kit.unit_cost for kit in now.kits.kits()}
    cost = table["kit_id"].dropna().map(price).astype("float64")
    judged = before.notna()
    return {
        "window_lo_in": window.lo_in if np.isfinite(window.lo_in) else None,
        "window_hi_in": window.hi_in if np.isfinite(window.hi_in) else None,
        "is_now": is_now,
        **{name: int((verdict == name).sum()) for name in VERDICTS},
        "changed": int((judged & (before != verdict)).sum()),
        "leaves": int((effect == "leaves").sum()),
        "enters": int((effect == "enters").sum()),
        "jobs": int(remedy.isin(KIT_REMEDIES).sum()),
        "kits": len(cost),
        "kits_cost": float(cost.sum()) if cost.notna().any() or not len(cost) else None,
        "kits_unpriced": int(cost.isna().sum()),
        **{f"to_{name}": int((remedy == name).sum()) for name in OTHER_LISTS},
    }
