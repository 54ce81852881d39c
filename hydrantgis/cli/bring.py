"""
Commands that look into sources and bring them in: inspect, import, survey.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.talk import DATA_ERRORS, grid, has_errors, put, put_findings, put_json, teller
from hydrantgis.ground.errors import WordsError, some

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from hydrantgis.intake.take import Intake
    from hydrantgis.intake.words import IntakeWords
    from hydrantgis.register.store import Added

LAYER_KINDS = ("hydrants", "areas", "valves", "mains", "facilities")
SURVEY_KINDS = ("readings", "shots")


def inspect(
    source: o.Source,
    layer: o.Layer = None,
    as_json: o.Json = False,
    quiet: o.Quiet = False,
) -> None:
    """
    What is in a source: layers, fields, CRS, units, what looks wrong, a suggested mapping.

    Nothing is written. A field behind a column in brackets is only likely; say it with --field.

    \b
    Example:
      hydrantgis inspect hydrants.zip
      hydrantgis inspect city.gdb --layer Hydrants --json
    """
    from hydrantgis.intake.look import look

    teller(quiet=quiet)(f"looking into {source}")
    report = look(source, layer=layer)
    if as_json:
        put_json(report)
        return
    put(f"{report['source']} ({report['driver']}), {len(report['layers'])} layer(s)")
    for entry in report["layers"]:
        _put_layer(entry)


def _put_layer(entry: dict[str, Any]) -> None:
    from hydrantgis.intake.match import SURE

    put()
    put(f"Layer {entry['name']}: {entry['geometry_type'] or 'table'}, {entry['rows']:,} rows")
    put(f"  looks like: {entry['likely_kind']}")
    put(f"  CRS: {entry['crs_told'] or 'none'}")
    if entry["crs_candidates"]:
        put(f"  may be: {some(entry['crs_candidates'], 6)}")
    if entry["bounds"]:
        west, south, east, north = entry["bounds"]
        put(f"  extent: x {west:,.6g} to {east:,.6g}, y {south:,.6g} to {north:,.6g}")
    if entry["z"].get("present"):
        z = entry["z"]
        put(
            f"  Z: {z['present']:,} points, {z['least']:g} to {z['greatest']:g}, "
            f"{z['exactly_zero']:,} exactly 0; not brought in"
        )
    put("  Fields")
    rows = [("field", "type", "filled", "distinct", "column", "examples")]
    for field in entry["fields"]:
        column = field["column"] or ""
        told = column if field["confidence"] >= SURE or not column else f"({column}?)"
        rows.append(
            (
                field["name"], field["type"], f"{field['filled']:,}", f"{field['distinct']:,}",
                told, some(field["examples"], 3)[:48],
            )
        )  # fmt: skip
    grid(rows, right=(2, 3), indent=4)
    if entry["findings"]:
        put("  What looks wrong")
        grid([(f["code"], f["field"], f["message"]) for f in entry["findings"]], indent=4)


def _said(
    profile: Path | None,
    *,
    crs: str | None,
    layer: str | None,
    fields: list[str] | None,
    units: list[str] | None,
    spellings: list[str] | None,
    values: list[str] | None,
    date_order: str | None,
    number_rows: str | None,
    constants: dict[str, str | None],
) -> tuple[IntakeWords, str | None]:
    """The words of the command line over those of the profile, and the profile's `as`."""
    from hydrantgis.ground.units import unit_of
    from hydrantgis.intake.words import DATE_ORDERS, IntakeWords, pairs, words_from_mapping
    from hydrantgis.standards.load import read_toml

    if date_order is not None and date_order not in DATE_ORDERS:
        raise WordsError(f"`{date_order}` is no order of dates", accepted=", ".join(DATE_ORDERS))
    by_column: dict[str, dict[str, str]] = {}
    for name, allowed in pairs(values or [], "--value column:WORD").items():
        column, colon, word = name.partition(":")
        if not colon:
            raise WordsError(f"`{name}` names no column", accepted="--value column:WORD=ALLOWED")
        by_column.setdefault(column, {})[word] = allowed
    said = IntakeWords(
        crs=crs,
        layer=layer,
        fields=pairs(fields or [], "--field"),
        units={k: unit_of(v) for k, v in pairs(units or [], "--unit").items()},
        spellings={k.lower(): unit_of(v) for k, v in pairs(spellings or [], "--spelling").items()},
        constants={k: v for k, v in constants.items() if v is not None},
        meanings=by_column,
        date_order=date_order,
        number_rows=number_rows,
    )
    if profile is None:
        return said, None
    kept, kind = words_from_mapping(read_toml(profile), profile.name)
    return said.over(kept), kind


def import_layer(
    source: o.Source,
    as_kind: Annotated[
        str | None, typer.Option("--as", help="hydrants, areas, valves, mains or facilities.")
    ] = None,
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    crs: o.Crs = None,
    layer: o.Layer = None,
    profile: o.Profile = None,
    field: o.Fields = None,
    unit: o.Units = None,
    spelling: o.Spellings = None,
    value: o.Values = None,
    date_order: o.DateOrder = None,
    number_rows: o.NumberRows = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Take away what came from other sources.")
    ] = False,
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Hydrants, areas, valves, mains or facilities into the register.

    Every row is accounted for: accepted, held until someone decides, or rejected. The first hydrant
    layer makes the register and gives it its CRS.

    \b
    Example:
      hydrantgis import hydrants.gpkg --register register.gpkg
      hydrantgis import districts.shp --as areas --field area_id=DIST_NO
      hydrantgis import list.csv --crs EPSG:4326 --number-rows H- --dry-run
    """
    words, kind = _said(
        profile, crs=crs, layer=layer, fields=field, units=unit, spellings=spelling, values=value,
        date_order=date_order, number_rows=number_rows, constants={},
    )  # fmt: skip
    _bring(
        source, as_kind or kind or "hydrants", LAYER_KINDS, register, words, replace=replace,
        strict=strict, as_json=as_json, dry_run=dry_run, quiet=quiet,
    )  # fmt: skip


def survey(
    source: o.Source,
    as_kind: Annotated[str | None, typer.Option("--as", help="readings or shots.")] = None,
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    method: Annotated[
        str | None, typer.Option(help="How all were measured: tape, level, gnss, eye.")
    ] = None,
    measured_to: Annotated[
        str | None, typer.Option(help="Outlet and point, for example pumper-centerline.")
    ] = None,
    measured_from: Annotated[str | None, typer.Option(help="grade, curb or flange.")] = None,
    vertical_datum: Annotated[
        str | None, typer.Option(help="Of elevations, for example NAVD88.")
    ] = None,
    crs: o.Crs = None,
    layer: o.Layer = None,
    profile: o.Profile = None,
    field: o.Fields = None,
    unit: o.Units = None,
    spelling: o.Spellings = None,
    value: o.Values = None,
    date_order: o.DateOrder = None,
    number_rows: o.NumberRows = None,
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Measured heights and grade shots into the register.

    A height needs to say how it was measured, to which outlet and from where; an elevation, its
    unit and vertical datum. What the source does not say, the options say for all rows.

    \b
    Example:
      hydrantgis survey readings.csv --register register.gpkg
      hydrantgis survey heights.csv --method tape --measured-to pumper-centerline \\
        --measured-from grade --unit outlet_height_in=in
      hydrantgis survey shots.csv --as shots --crs EPSG:3736 --unit elev_ft=ftUS \\
        --vertical-datum NAVD88
    """
    words, kind = _said(
        profile, crs=crs, layer=layer, fields=field, units=unit, spellings=spelling, values=value,
        date_order=date_order, number_rows=number_rows,
        constants={
            "method": method, "measured_to": measured_to, "measured_from": measured_from,
            "vertical_datum": vertical_datum,
        },
    )  # fmt: skip
    _bring(
        source, as_kind or kind or "readings", SURVEY_KINDS, register, words,
        strict=strict, as_json=as_json, dry_run=dry_run, quiet=quiet,
    )  # fmt: skip


def _bring(
    source: str,
    kind: str,
    kinds: tuple[str, ...],
    register: Path,
    words: IntakeWords,
    *,
    replace: bool = False,
    strict: bool,
    as_json: bool,
    dry_run: bool,
    quiet: bool,
) -> None:
    if kind not in kinds:
        raise WordsError(
            f"`{kind}` is not read here", accepted=", ".join(kinds), do="say --as KIND"
        )
    from hydrantgis import job

    intake, added = job.bring_in(
        register,
        source,
        kind,
        words=words,
        replace=replace,
        dry_run=dry_run,
        tell=teller(quiet=quiet),
    )
    if as_json:
        put_json(_as_json(intake, added, register, dry_run=dry_run))
    else:
        _put_intake(intake, added, register, dry_run=dry_run)
    if strict and has_errors(intake.findings):
        raise typer.Exit(DATA_ERRORS)


def _as_json(intake: Intake, added: Added, register: Path, *, dry_run: bool) -> dict[str, Any]:
    import json

    return {
        "register": str(register),
        "dry_run": dry_run,
        "already_there": added.known,
        "added": added.rows,
        "unchanged": added.unchanged,
        "from_other_sources": added.others,
        "rows": {
            "in": intake.count.rows,
            "accepted": intake.count.accepted,
            "held": intake.count.held,
            "rejected": intake.count.rejected,
        },
        "intake": {**intake.record, "fields": json.loads(str(intake.record["fields"]))},
        "findings": json.loads(intake.findings.to_json(orient="records")),
    }


def _put_intake(intake: Intake, added: Added, register: Path, *, dry_run: bool) -> None:
    import json

    record = intake.record
    put(f"{record['source']}, layer {record['layer']}, as {intake.kind}")
    put(f"  {intake.count}")
    if added.known:
        put(f"  the same source was brought in before: nothing added to {register}")
    elif dry_run:
        put(f"  dry run: {added.rows:,} would be added to {register}; nothing was written")
    else:
        same = f"; {added.unchanged:,} stand there already as told" if added.unchanged else ""
        what = "new or changed in" if intake.kind == "hydrants" else "added to"
        put(f"  {added.rows:,} {what} {register}{same}")
    if added.others:
        put(f"  {added.others:,} stay from other sources; --replace takes them away")
    if record["crs"]:
        put(f"  CRS {record['crs']}, named by the {record['crs_from']}")
    put("Fields")
    grid([(column, "<-", name) for column, name in json.loads(str(record["fields"])).items()])
    put_findings(intake.findings)
    if len(intake.exceptions):
        put("Held and rejected rows stand in the layer `exceptions`, as the source had them.")
