"""
Everything that a check leads to, in one folder, with a page that leads to each file.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hydrantgis.job.areamaps import write_area_maps
from hydrantgis.job.budgets import budget_curve
from hydrantgis.job.indexing import write_index
from hydrantgis.job.moment import quiet
from hydrantgis.job.reporting import write_report
from hydrantgis.job.seasoning import plan_season
from hydrantgis.job.sheeting import write_sheets
from hydrantgis.job.showing import draw_map, plan, write_season

if TYPE_CHECKING:
    from collections.abc import Callable

    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Planned
    from hydrantgis.season.lists import Season
    from hydrantgis.standards.season import SeasonWords


@dataclass(frozen=True, slots=True)
class Delivered:
    """
    What was written, and what it was written from.

    Attributes
    ----------
    season, planned
        The lists; and what of them is done, None where no season was asked for.
    paths
        The files in the order in which they were made, `index.html` last.
    """

    season: Season
    planned: Planned | None
    paths: list[Path]


def deliver_all(
    result: Checked,
    folder: Path | str,
    *,
    words: SeasonWords | None = None,
    register: Path | str | None = None,
    title: str = "Hydrants",
    tell: Callable[[str], None] = quiet,
) -> Delivered:
    """
    Write all that a check leads to into one folder.

    Parameters
    ----------
    result
        From `check`.
    folder
        Made where it is not there; files of an earlier run are replaced.
    words
        From `load_season`: what the season has; lists alone are written where it is None.
    register
        The register's file, for what its history tells as done.
    title
        What stands at the head of map, sheets and report.
    tell
        Told each stage of the work.

    Returns
    -------
    delivered
        Checked layer, map, season, area maps, job sheets, notices, report, and the page to all.
    """
    from hydrantgis.deliver.webmap import save_map

    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    result.write(place / "checked.gpkg")
    season = plan(result)
    planned = None if words is None else plan_season(result, words, tell=tell)
    curve = None if planned is None else budget_curve(planned, tell=tell)
    tell("map")
    save_map(draw_map(result, title=title, planned=planned), place / "map.html")
    tell("season lists")
    paths = [place / "checked.gpkg", place / "map.html"]
    paths += write_season(season, place, result=result, planned=planned, curve=curve)
    tell("area maps")
    paths += write_area_maps(result, season, place, planned=planned, title=title)
    tell("job sheets and notices")
    paths += write_sheets(result, season, place, planned=planned)
    paths += write_report(
        result, place, season=season, planned=planned, curve=curve, register=register,
        title=title, tell=tell,
    )  # fmt: skip
    paths.append(write_index(place, result, season=season, planned=planned, title=title))
    return Delivered(season, planned, paths)
