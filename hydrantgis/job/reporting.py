"""
The report for people who decide: figures once, told as a page, as paper and as a workbook.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.assess import check as assess
from hydrantgis.ground.reports import (
    AREA_SHARES,
    DONE,
    FAMILY_FIGURES,
    HEIGHT_BINS,
    REMEDY_FIGURES,
    TREND,
    WORST,
)
from hydrantgis.ground.results import SWEEP
from hydrantgis.ground.tables import HISTORY
from hydrantgis.heights.basis import standing
from hydrantgis.heights.outlet import reading_heights
from hydrantgis.job.moment import quiet
from hydrantgis.job.reportfigures import figures_table
from hydrantgis.job.sweeping import sweep
from hydrantgis.register.store import Register
from hydrantgis.season.backlog import Backlog, backlog
from hydrantgis.season.figures import (
    area_shares,
    family_figures,
    height_bins,
    remedy_figures,
    worst,
)
from hydrantgis.season.trend import done, trend
from hydrantgis.season.visits import stale
from hydrantgis.standards.rules import Window

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from hydrantgis.ground.table import Table
    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Planned
    from hydrantgis.job.sweeping import Swept
    from hydrantgis.season.lists import Season

_MOVES_IN = (-2.0, -1.0, 1.0, 2.0)
"""By so much each end of the window is moved where no windows are named. [in]"""
_MOST_SEASONS = 6


@dataclass(frozen=True, slots=True)
class Report:
    """
    The figures of a report.

    Attributes
    ----------
    title
        What stands at its head.
    result, season, planned, curve
        The check, its lists, the season and what money brings; None where there is none.
    stale
        Whether the reading of each hydrant is stale; shape (n,).
    areas, families, remedies, worst, bins, trend, done
        The tables `area_shares`, `family_figures`, `remedy_figures`, `worst`, `height_bins`,
        `trend` and `done`.
    years
        How many hydrants were measured in each year.
    swept
        The same hydrants under other windows.
    backlog
        What the season could choose from; None where there is none.
    """

    title: str
    result: Checked
    season: Season | None
    planned: Planned | None
    curve: pd.DataFrame | None
    stale: NDArray[np.bool_]
    areas: pd.DataFrame
    families: pd.DataFrame
    remedies: pd.DataFrame
    worst: pd.DataFrame
    bins: pd.DataFrame
    trend: pd.DataFrame
    years: dict[int, int]
    done: pd.DataFrame
    swept: Swept
    backlog: Backlog | None

    def tables(self) -> list[tuple[Table, pd.DataFrame]]:
        """Every table of its own but the figures, with its declaration."""
        return [
            (AREA_SHARES, self.areas), (REMEDY_FIGURES, self.remedies),
            (FAMILY_FIGURES, self.families), (WORST, self.worst), (HEIGHT_BINS, self.bins),
            (SWEEP, self.swept.table), (TREND, self.trend), (DONE, self.done),
        ]  # fmt: skip

    def figures(self) -> pd.DataFrame:
        """The `report_figures` table."""
        return figures_table(self)


def report(
    result: Checked,
    *,
    season: Season | None = None,
    planned: Planned | None = None,
    curve: pd.DataFrame | None = None,
    register: Path | str | None = None,
    windows: Sequence[Window] | None = None,
    title: str = "Hydrants",
    tell: Callable[[str], None] = quiet,
) -> Report:
    """
    The figures of a report.

    Parameters
    ----------
    result
        From `hydrantgis.job.check`.
    season
        From `hydrantgis.job.plan`, for the workbook.
    planned, curve
        From `plan_season` and `budget_curve`, where a season is planned.
    register
        The register's file, for what its history tells as done; nothing is where it is None.
    windows
        Other windows to be tried; where None, each end of the rule's is moved by an inch or two.
    title
        What stands at its head.
    tell
        Told each stage of the work.
    """
    tell("figures")
    table, hydrants = result.table, result.hydrants
    by_id = hydrants.set_index("hydrant_id")
    ids = pd.Index(table["hydrant_id"])
    family, address = (by_id[name].reindex(ids).set_axis(table.index) for name in
                       ("family", "address"))  # fmt: skip
    titles = result.areas.set_index("area_id")["area_title"]
    by_change, by_age, _ = stale(
        table["reading_date"], today=result.moment.date(), changed_on=result.heights.changed_on
    )
    selection = None if planned is None else planned.selection
    days = None if planned is None else planned.calendar.set_index("hydrant_id")["work_date"]
    tell("other windows")
    swept = sweep(result, moved(result.rule.window) if windows is None else windows)
    tell("seasons before")
    verdicts = verdicts_by_year(result)
    history = HISTORY.empty() if register is None else Register(Path(register)).read(HISTORY)
    return Report(
        title=title, result=result, season=season, planned=planned, curve=curve,
        stale=by_change | by_age,
        areas=area_shares(table, titles, by_change | by_age),
        families=family_figures(table, family),
        remedies=remedy_figures(
            table, {kit.kit_id: kit.unit_cost for kit in result.kits.kits()}, selection
        ),
        worst=worst(table, address, titles, days=days), bins=height_bins(table),
        trend=trend(verdicts), years=_measured(verdicts),
        done=done(history)
        if planned is None
        else done(
            history, planned.calendar["hydrant_id"].tolist(), since=planned.words.planned_on
        ),
        swept=swept,
        backlog=None if planned is None else backlog(*planned.pool),
    )  # fmt: skip


def moved(window: Window) -> list[Window]:
    """
    The window with each of its ends moved by an inch or two.

    Examples
    --------
    >>> [str(w) for w in moved(Window(lo_in=18.0))]
    ['16 in or more', '17 in or more', '19 in or more', '20 in or more']
    """
    ends = [(window.lo_in + by, window.hi_in) for by in _MOVES_IN if np.isfinite(window.lo_in)]
    ends += [(window.lo_in, window.hi_in + by) for by in _MOVES_IN if np.isfinite(window.hi_in)]
    return [Window(lo_in=lo, hi_in=hi) for lo, hi in ends if lo < hi]


def verdicts_by_year(result: Checked) -> pd.DataFrame:
    """
    The verdict of each hydrant by the readings of each of the last years alone.

    Parameters
    ----------
    result
        From `hydrantgis.job.check`.

    Returns
    -------
    verdicts
        A column a year, under the rule as it is, over the ground of the day.
    """
    heights, rule = result.heights, result.rule
    year = heights.readings["reading_date"].dt.year
    told: dict[int, pd.Series] = {}
    for each in sorted(year.dropna().unique())[-_MOST_SEASONS:]:  # a few
        read = reading_heights(
            heights.hydrants, heights.readings[year == each], rule, grades=heights.grades,
            own_day=True,
        )  # fmt: skip
        basis, _ = standing(heights.hydrants, read, rule)
        table, _ = assess.check(
            heights.hydrants, basis, rule=rule, kits=result.kits, area_ids=result.table["area_id"]
        )
        told[int(each)] = table["verdict"]
    return pd.DataFrame(told, index=result.table.index)


def _measured(verdicts: pd.DataFrame) -> dict[int, int]:
    seen = verdicts.notna() & (verdicts != "unmeasured")
    return {int(str(year)): int(seen[year].sum()) for year in verdicts}


def write_report(
    result: Checked,
    folder: Path | str,
    *,
    season: Season | None = None,
    planned: Planned | None = None,
    curve: pd.DataFrame | None = None,
    register: Path | str | None = None,
    windows: Sequence[Window] | None = None,
    title: str = "Hydrants",
    tell: Callable[[str], None] = quiet,
) -> list[Path]:
    """
    Write a report as HTML, PDF and XLSX.

    Parameters
    ----------
    result, season, planned, curve, register, windows, title, tell
        As `report`.
    folder
        Where `report.html`, `report.pdf` and `report.xlsx` go.

    Returns
    -------
    paths
        The three.
    """
    told = report(
        result, season=season, planned=planned, curve=curve, register=register, windows=windows,
        title=title, tell=tell,
    )  # fmt: skip
    return save_report(told, folder, tell=tell)


def save_report(
    told: Report, folder: Path | str, *, tell: Callable[[str], None] = quiet
) -> list[Path]:
    """
    Write the three files of a report.

    Parameters
    ----------
    told
        From `report`.
    folder
        Where they go; made where it is not there.
    tell
        Told each stage of the work.
    """
    # drawing and setting pages is not for every start
    from hydrantgis.deliver.reportpage import write_page
    from hydrantgis.deliver.reportpaper import write_paper
    from hydrantgis.job.reportbook import write_book
    from hydrantgis.job.reportpages import pages_of

    place = Path(folder)
    paths = [place / f"report.{kind}" for kind in ("html", "pdf", "xlsx")]
    tell("report")
    pages = pages_of(told)
    write_page(paths[0], pages)
    write_paper(paths[1], pages, moment=told.result.moment)
    write_book(paths[2], told)
    return paths
