"""
The season list, the map and the files that a check leads to.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.assess.alternatives import alternatives
from hydrantgis.deliver.lists import write_csv
from hydrantgis.deliver.plannerbook import Plannerbook, write_plannerbook
from hydrantgis.ground.seasons import CALENDAR, CREW_DAYS, CURVE, EDITS, NOTICES, ORDERS, SELECTION
from hydrantgis.ground.tables import PROVENANCE
from hydrantgis.job.seasoning import fingerprint
from hydrantgis.register.geopackage import write_geopackage
from hydrantgis.season.lists import Season, season_lists
from hydrantgis.season.totals import area_figures
from hydrantgis.standards.load import cautions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hydrantgis.deliver.background import Background
    from hydrantgis.deliver.looks import MapWords
    from hydrantgis.deliver.offline import OfflineMap, Tiles
    from hydrantgis.ground.table import Table
    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Planned


def plan(result: Checked) -> Season:
    """The season list by area, from a check."""
    jobs = result.table["kit_id"].notna().to_numpy() | (result.table["remedy"] == "remove")
    tried = alternatives(
        result.hydrants[jobs], result.heights.basis[jobs], rule=result.rule, kits=result.kits,
        area_ids=result.table["area_id"][jobs],
    )  # fmt: skip
    return season_lists(
        result.table, result.hydrants, result.areas, today=result.moment.date(),
        drifts=result.drifts(), facilities=result.facilities, changed_on=result.heights.changed_on,
        screening=result.heights.basis["screening"], catalogue=result.kits, tried=tried,
        valves=result.valves, streets=result.streets,
    )  # fmt: skip


def write_season(
    season: Season,
    folder: Path | str,
    *,
    result: Checked,
    planned: Planned | None = None,
    curve: pd.DataFrame | None = None,
    edits: pd.DataFrame | None = None,
) -> list[Path]:
    """
    Write the season as a GeoPackage, with what it rests on, and every list as CSV.

    Parameters
    ----------
    season
        From `plan`.
    folder
        Where the files go; made where it is not there.
    result
        The check that the season was planned from.
    planned
        What of it is done, when and by whom, where there is a season file.
    curve
        The `curve` table, where what money brings was asked for.
    edits
        The `edits` table, where a planner changed something.

    Returns
    -------
    paths
        The files, the GeoPackage first.
    """
    place = Path(folder)
    package = place / "season.gpkg"
    lists: list[tuple[Table, pd.DataFrame]] = list(season.layers())
    if planned is not None:
        lists = [(table, frame) for table, frame in lists if table is not ORDERS]
        lists += [
            (SELECTION, planned.selection), (CALENDAR, planned.calendar),
            (CREW_DAYS, planned.crew_days), (ORDERS, planned.orders), (NOTICES, planned.notices),
        ]  # fmt: skip
    if curve is not None:
        lists.append((CURVE, curve))
    if edits is not None:
        lists.append((EDITS, edits))
    layers = [*lists, (PROVENANCE, result.provenance)]
    write_geopackage(package, layers, moment=result.moment)
    paths = [package]
    for table, frame in lists:
        paths.append(place / f"season_{table.name}.csv")
        write_csv(paths[-1], table, frame)
    if planned is not None:
        paths.insert(1, _write_book(place / "season.xlsx", planned, result))
    if planned is not None and curve is not None:
        from hydrantgis.deliver.charts import save_chart
        from hydrantgis.deliver.curvechart import curve_chart

        charts = [place / f"season_curve.{kind}" for kind in ("png", "svg")]
        words = planned.words
        save_chart(curve_chart(curve, title=words.title, money=words.money), charts)
        paths += charts
    return paths


def _write_book(path: Path, planned: Planned, result: Checked) -> Path:
    """The planner's workbook."""
    book = Plannerbook(
        words=planned.words, selection=planned.selection, calendar=planned.calendar,
        crew_days=planned.crew_days, orders=planned.orders, notices=planned.notices,
        moment=result.moment, fingerprint=fingerprint(result, planned.words),
        cautions=cautions(), crew_hours=planned.pool[1].crew_hours,
    )  # fmt: skip
    write_plannerbook(path, book)
    return path


def draw_map(
    result: Checked,
    *,
    title: str,
    planned: Planned | None = None,
    backgrounds: Sequence[Background] = (),
    background_budget: int | None = None,
    tiles: Tiles | None = None,
) -> OfflineMap:
    """
    The checked hydrants as a web map that needs no network.

    Parameters
    ----------
    result
        From `check`.
    title
        What stands at its head.
    planned
        A season: the map can then show what it does.
    backgrounds
        More lines or outlines under the hydrants.
    background_budget
        Bytes that all lines may take; a megabyte where it is None.
    tiles
        A map server; nothing is asked of the network without it.
    """
    from hydrantgis.deliver.webmap import BACKGROUND_BUDGET, web_map

    return web_map(
        result.table,
        words=map_words(result, title=title),
        areas=result.areas if len(result.areas) else None,
        area_figures=area_figures(result.table, result.areas) if len(result.areas) else None,
        streets=result.streets,
        mains=result.mains,
        valves=result.valves,
        facilities=result.facilities,
        backgrounds=backgrounds,
        background_budget=(BACKGROUND_BUDGET if background_budget is None else background_budget),
        facts=result.hydrants.drop(columns="geometry").set_index("hydrant_id"),
        selection=None if planned is None else planned.selection,
        today=result.moment.date(),
        tiles=tiles,
    )


def map_words(result: Checked, *, title: str) -> MapWords:
    """Title, rule and date as map and picture show them."""
    from hydrantgis.deliver.looks import MapWords

    newest = result.table["reading_date"].max()
    return MapWords(
        title=title,
        rule=f"{result.rule.title}: {result.rule}",
        citation=str(result.rule.citation),
        data_date="no readings" if pd.isna(newest) else f"{newest:%Y-%m-%d}",
        cautions=cautions(),
    )
