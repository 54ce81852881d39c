"""
The whole job, in the order in which it is done.

    sources, surveys -> register -> heights -> verdicts -> remedies -> season list -> map, files

Each step is a function that a notebook can call; the command line calls the same ones. This is the
one place that gathers paths, the time and the rooms.
"""

from __future__ import annotations

import datetime as dt
import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.assess import check as assess
from hydrantgis.deliver.lists import write_csv
from hydrantgis.deliver.provenance import provenance
from hydrantgis.ground.errors import LockedError, WordsError
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.tables import (
    AREAS,
    CHANGES,
    CHECKED,
    EXCEPTIONS,
    MAINS,
    PROVENANCE,
)
from hydrantgis.heights.grade import GradeFit, grade_at
from hydrantgis.heights.outlet import basis_heights, datum_key
from hydrantgis.intake.crs import service_area
from hydrantgis.intake.take import Intake, take
from hydrantgis.intake.words import IntakeWords
from hydrantgis.register.geopackage import write_geopackage
from hydrantgis.register.places import named_by_place
from hydrantgis.register.store import Register
from hydrantgis.season.areas import area_of
from hydrantgis.season.lists import Season, season_lists
from hydrantgis.standards.kits import KitCatalogue, catalogue_from_mapping
from hydrantgis.standards.load import cautions, load_kits, load_rule, text_of
from hydrantgis.standards.methods import GRADE_SHOT_SD_FT
from hydrantgis.standards.rules import HeightRule, rule_from_mapping

if TYPE_CHECKING:
    from collections.abc import Callable

    import folium
    import pyproj

    from hydrantgis.deliver.looks import MapWords
    from hydrantgis.ground.table import Table
    from hydrantgis.register.additions import Added

_HELD_AGAINST = ("hydrants", "valves", "shots")
"""What lies where the hydrants of the register do."""
SHOT_RADIUS_FT = 25.0
"""Ground shots farther from a hydrant than this do not tell its grade. [ft]"""


def the_time() -> dt.datetime:
    """
    Now, in UTC; or what SOURCE_DATE_EPOCH says, so that a run can be repeated to the byte.

    Notes
    -----
    SOURCE_DATE_EPOCH is the variable of the reproducible-builds specification: whole seconds since
    1970-01-01 UTC.
    """
    fixed = os.environ.get("SOURCE_DATE_EPOCH")
    moment = (
        dt.datetime.now(dt.UTC) if fixed is None else dt.datetime.fromtimestamp(int(fixed), dt.UTC)
    )
    return moment.replace(microsecond=0, tzinfo=None)


def quiet(_: str) -> None:
    """Tell nobody of the stages of the work."""


def bring_in(
    register: Path | str,
    source: Path | str,
    kind: str = "hydrants",
    *,
    words: IntakeWords | None = None,
    now: dt.datetime | None = None,
    replace: bool = False,
    adds: bool = False,
    dry_run: bool = False,
    allow_remote: bool = False,
    beyond: bool = False,
    tell: Callable[[str], None] = quiet,
) -> tuple[Intake, Added]:
    """
    Bring a source into the register.

    Parameters
    ----------
    register
        The register's file; made by the first hydrant layer.
    source
        A vector layer or a table.
    kind
        `hydrants`, `areas`, `valves`, `mains`, `facilities`, `readings` or `shots`.
    words
        What the user says about the source.
    now
        The time to record, in UTC; the clock's where it is None.
    replace
        Of areas, valves, mains or facilities: take away what came from other sources. Of hydrants:
        the layer is the whole inventory, and what it lacks is retired.
    adds
        Of hydrants: nothing that the layer lacks is retired.
    dry_run
        Do everything but write.
    allow_remote
        Whether a source on the web may be fetched.
    beyond
        The layer lies elsewhere than the hydrants of the register; hydrants, valves and shots are
        else refused where most of them do.
    tell
        Told each stage of the work.

    Returns
    -------
    intake, added
        What the source held, and what of it was new to the register.

    Notes
    -----
    Beside the register stand, as CSV, the rows that are put aside (`REGISTER_exceptions.csv`) and
    what the newest hydrant layer changed (`REGISTER_changes.csv`).

    Raises
    ------
    HydrantGISError
        The source or the register cannot be used; nothing was written.
    """
    moment = the_time() if now is None else now
    store = Register(Path(register))
    held_against = kind in _HELD_AGAINST and store.exists()
    stands = store.hydrants() if held_against or kind == "readings" else None
    service = None
    if stands is not None and held_against and not beyond:
        service = service_area(stands.geometry)
    intake = take(
        str(source), kind, words or IntakeWords(), today=moment.date(), stands=stands,
        service=service, allow_remote=allow_remote, tell=tell,
    )  # fmt: skip
    tell(f"{'looking at' if dry_run else 'writing to'} {store.path.name}")
    if kind == "hydrants" and stands is not None:
        intake = named_by_place(intake, stands)
    added = store.add(intake, now=moment, replace=replace, adds=adds, dry_run=dry_run)
    if not (dry_run or added.known):
        _write_beside(store, kind, added, tell)
    return intake, added


def beside(register: Path, what: str) -> Path:
    """
    The CSV beside a register that holds its `exceptions` or `changes`.

    Examples
    --------
    >>> beside(Path("register.gpkg"), "changes").name
    'register_changes.csv'
    """
    return register.with_name(f"{register.stem}_{what}.csv")


def _write_beside(store: Register, kind: str, added: Added, tell: Callable[[str], None]) -> None:
    """Lists for a spreadsheet; one with nothing to say is taken away."""
    lists: list[tuple[Table, pd.DataFrame]] = [(EXCEPTIONS, store.exceptions())]
    if kind == "hydrants":
        lists.append((CHANGES, added.changes))
    for table, rows in lists:
        path = beside(store.path, table.name)
        try:
            if len(rows):
                write_csv(path, table, rows)
            else:
                path.unlink(missing_ok=True)
        except (LockedError, OSError) as error:
            # the register has all of it; a list that is open in a spreadsheet stops nothing
            tell(f"{path.name} could not be renewed and is an older one: {error}")


def keep_standards(
    register: Path | str,
    *,
    rule: str | None = None,
    kits: str | None = None,
    now: dt.datetime | None = None,
    dry_run: bool = False,
) -> None:
    """
    Keep a rule or a kit catalogue in the register, as what stands where none is named.

    Parameters
    ----------
    register
        The register's file.
    rule, kits
        An id that ships or a TOML file; its text is kept.
    now
        The time to record, in UTC; the clock's where it is None.
    dry_run
        Do everything but write.

    Raises
    ------
    HydrantGISError
        The file has problems, or there is no register.
    """
    items: dict[str, str] = {}
    if rule is not None:
        load_rule(rule)
        items["rule"] = text_of("rules", rule)
    if kits is not None:
        load_kits(kits)
        items["kits"] = text_of("kits", kits)
    store = Register(Path(register))
    store.settings()
    if not dry_run:
        store.keep_settings(items, now=the_time() if now is None else now)


def standards_for(
    store: Register, rule: str | None, kits: str | None
) -> tuple[HeightRule, KitCatalogue]:
    """
    The rule and the kits that are named, else those that the register keeps; never another.

    Raises
    ------
    WordsError
        Neither says it.
    """
    kept = store.settings()
    for word, name, what in ((rule, "rule", "height rule"), (kits, "kits", "kit catalogue")):
        if word is None and name not in kept:
            command = "rules" if name == "rule" else name
            raise WordsError(
                f"no {what} is named",
                accepted=f"an id that `hydrantgis {command} list` shows, or a TOML file",
                do=f"pass --{name}, or keep one in the register with `{command} keep`",
            )
    height_rule = (
        load_rule(rule) if rule else rule_from_mapping(tomllib.loads(kept["rule"]), "kept rule")
    )
    catalogue = (
        load_kits(kits)
        if kits
        else catalogue_from_mapping(tomllib.loads(kept["kits"]), "kept kits")
    )
    return height_rule, catalogue


@dataclass(frozen=True, slots=True)
class Checked:
    """
    The result of a check.

    Attributes
    ----------
    table
        The `checked` table.
    hydrants, areas, mains
        What it was made from, for maps and lists.
    exceptions
        Rows that never came into the register, and findings of the check.
    findings
        What the check noticed.
    provenance
        What the result rests on.
    moment
        When the register was last added to; files are stamped with it.
    """

    table: gpd.GeoDataFrame
    hydrants: gpd.GeoDataFrame
    areas: gpd.GeoDataFrame
    mains: gpd.GeoDataFrame
    exceptions: gpd.GeoDataFrame
    findings: pd.DataFrame
    provenance: pd.DataFrame
    rule: HeightRule
    kits: KitCatalogue
    moment: dt.datetime

    def counts(self) -> dict[str, int]:
        """How many hydrants, how many judged and measured, how many of each verdict."""
        verdict = self.table["verdict"]
        by = verdict.value_counts()
        each = {name: int(by.get(name, 0)) for name in CHECKED["verdict"].allowed}
        return {
            "hydrants": len(verdict),
            "not_judged": int(verdict.isna().sum()),
            "measured": sum(each.values()) - each["unmeasured"],
            **each,
        }

    def write(self, path: Path | str) -> None:
        """Write the GeoPackage: checked, exceptions, provenance."""
        write_geopackage(
            Path(path),
            [(CHECKED, self.table), (EXCEPTIONS, self.exceptions), (PROVENANCE, self.provenance)],
            moment=self.moment,
        )


def _grades(
    hydrants: gpd.GeoDataFrame, shots: pd.DataFrame, crs: pyproj.CRS
) -> tuple[dict[str, GradeFit], pd.DataFrame]:
    """Grade at the hydrants from the ground shots, by datum, and shots that were left out."""
    ground = shots[shots["x"].notna() & shots["vertical_datum"].notna()]
    here = xy(hydrants.geometry)
    to_plane = plane_ft(here, crs)
    flat = np.column_stack(to_plane.transform(here[:, 0], here[:, 1]))
    key = ground["vertical_datum"].map({n: datum_key(n) for n in ground["vertical_datum"].unique()})
    fits: dict[str, GradeFit] = {}
    notes = [no_findings()]
    for name, part in ground.groupby(key, sort=True):  # a datum or two
        fits[str(name)] = fit = grade_at(
            flat,
            np.column_stack(to_plane.transform(part["x"].to_numpy(), part["y"].to_numpy())),
            part["elev_ft"],
            part["elev_sd_ft"].fillna(GRADE_SHOT_SD_FT),
            radius_ft=SHOT_RADIUS_FT,
        )
        at = hydrants["hydrant_id"].to_numpy(dtype=object)[fit.outlier_hydrant]
        notes.append(
            findings(
                "grade-outlier", table="shots",
                keys=part["shot_id"].to_numpy(dtype=object)[fit.outlier_shot], column="elev_ft",
                values=[f"{v:g}" for v in part["elev_ft"].to_numpy()[fit.outlier_shot]],
                messages=[f"left out of the grade at hydrant {name}" for name in at],
            )
        )  # fmt: skip
    return fits, join_findings(*notes)


def check(
    register: Path | str,
    *,
    rule: str | None = None,
    kits: str | None = None,
    outlet: str | None = None,
    command: str = "library call",
    tell: Callable[[str], None] = quiet,
) -> Checked:
    """
    Verdict and remedy of every hydrant in the register.

    Parameters
    ----------
    register
        The register's file.
    rule, kits
        An id that ships or a TOML file; where None, what the register keeps.
    outlet
        Which outlet is judged, where the rule leaves it open.
    command
        What was typed, for the provenance.
    tell
        Told each stage of the work.

    Raises
    ------
    HydrantGISError
        No rule or kits are named, or the register cannot be read.
    """
    store = Register(Path(register))
    height_rule, catalogue = standards_for(store, rule, kits)
    height_rule = height_rule.judging(outlet)
    tell(f"reading {store.path.name}")
    hydrants, readings = store.hydrants(), store.readings()
    areas = gpd.GeoDataFrame(store.read(AREAS))
    tell("heights")
    grades, outliers = _grades(hydrants, store.ground_shots(), store.crs)
    basis, on_heights = basis_heights(hydrants, readings, height_rule, grades=grades)
    tell("verdicts and remedies")
    area_ids, on_areas = area_of(hydrants, areas)
    table, on_hydrants = assess.check(
        hydrants, basis, rule=height_rule, kits=catalogue, area_ids=area_ids
    )
    noticed = join_findings(outliers, on_heights, on_areas, on_hydrants)
    return Checked(
        table=table,
        hydrants=hydrants,
        areas=areas,
        mains=gpd.GeoDataFrame(store.read(MAINS)),
        exceptions=_exceptions(store, noticed, hydrants),
        findings=noticed,
        provenance=provenance(
            store, height_rule, catalogue, texts=_texts(store, rule, kits), command=command
        ),
        rule=height_rule,
        kits=catalogue,
        moment=store.recorded_at(),
    )


def _exceptions(
    store: Register, noticed: pd.DataFrame, hydrants: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Rows put aside at intake, then what the check noticed, at the hydrant where it is one."""
    where = pd.Series(hydrants.geometry.array, index=hydrants["hydrant_id"])
    flagged = noticed.assign(outcome="flagged")
    # a shot may have the number of a hydrant
    keys = flagged["key"].where(flagged["table"].isin(["hydrants", "readings", "checked"]))
    points = gpd.GeoSeries(keys.map(where).to_numpy(dtype=object), crs=store.crs)
    told = EXCEPTIONS.conform(gpd.GeoDataFrame(flagged, geometry=points))
    both = [frame for frame in (store.exceptions(), told) if len(frame)]
    if not both:
        return gpd.GeoDataFrame(EXCEPTIONS.empty(store.crs))
    frame = EXCEPTIONS.conform(gpd.GeoDataFrame(pd.concat(both, ignore_index=True)))
    return gpd.GeoDataFrame(frame).set_crs(store.crs, allow_override=True)


def _texts(store: Register, rule: str | None, kits: str | None) -> tuple[str, str]:
    """The text of the rule and of the kits that were used."""
    kept = store.settings()
    return (
        text_of("rules", rule) if rule else kept["rule"],
        text_of("kits", kits) if kits else kept["kits"],
    )


def plan(result: Checked) -> Season:
    """The season list by area, from a check."""
    return season_lists(result.table, result.hydrants, result.areas)


def write_season(season: Season, folder: Path | str, *, result: Checked) -> list[Path]:
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

    Returns
    -------
    paths
        The files, the GeoPackage first.
    """
    place = Path(folder)
    package = place / "season.gpkg"
    layers = [*season.layers(), (PROVENANCE, result.provenance)]
    write_geopackage(package, layers, moment=result.moment)
    paths = [package]
    for table, frame in season.layers():
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
