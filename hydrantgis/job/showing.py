"""
The season list, the map and the files that a check leads to.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.assess.alternatives import alternatives
from hydrantgis.deliver.lists import write_csv
from hydrantgis.ground.results import SELECTION
from hydrantgis.ground.tables import PROVENANCE
from hydrantgis.register.geopackage import write_geopackage
from hydrantgis.season.lists import Season, season_lists
from hydrantgis.standards.load import cautions

if TYPE_CHECKING:
    import folium

    from hydrantgis.deliver.looks import MapWords
    from hydrantgis.ground.table import Table
    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Chosen


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
        screening=result.heights.basis["screening"], kits=result.kits.kits(), tried=tried,
        valves=result.valves, streets=result.streets,
    )  # fmt: skip


def write_season(
    season: Season, folder: Path | str, *, result: Checked, chosen: Chosen | None = None
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
    chosen
        What of it is done, where that was chosen.

    Returns
    -------
    paths
        The files, the GeoPackage first.
    """
    place = Path(folder)
    package = place / "season.gpkg"
    lists: list[tuple[Table, pd.DataFrame]] = list(season.layers())
    if chosen is not None:
        lists.append((SELECTION, chosen.table))
    layers = [*lists, (PROVENANCE, result.provenance)]
    write_geopackage(package, layers, moment=result.moment)
    paths = [package]
    for table, frame in lists:
        paths.append(place / f"season_{table.name}.csv")
        write_csv(paths[-1], table, frame)
    return paths


def draw_map(result: Checked, *, title: str) -> folium.Map:
    """
    The checked hydrants as a web map that needs no network.

    Parameters
    ----------
    result
        From `check`.
    title
        What stands at its head.
    """
    from hydrantgis.deliver.webmap import web_map

    return web_map(
        result.table,
        words=map_words(result, title=title),
        areas=result.areas if len(result.areas) else None,
        lines=result.mains if len(result.mains) else None,
        facts=result.hydrants.drop(columns="geometry").set_index("hydrant_id"),
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
