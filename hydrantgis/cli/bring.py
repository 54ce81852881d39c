"""
Commands that look into sources and bring them in: inspect and import.
"""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads it at run time
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.said import said_words
from hydrantgis.cli.talk import DATA_ERRORS, grid, has_errors, put, put_findings, put_json, teller
from hydrantgis.ground.errors import WordsError, some

if TYPE_CHECKING:
    from typing import Any

    from hydrantgis.intake.take import Intake
    from hydrantgis.intake.words import IntakeWords
    from hydrantgis.register.additions import Added

LAYER_KINDS = ("hydrants", "areas", "valves", "mains", "streets", "facilities", "works")
SURVEY_KINDS = ("readings", "shots")


def inspect(
    source: o.Source,
    as_kind: Annotated[
        str | None, typer.Option("--as", help="What the source is meant to be; else the likeliest.")
    ] = None,
    crs: o.Crs = None,
    layer: o.Layer = None,
    profile: o.Profile = None,
    near: o.Near = None,
    place: o.Places = None,
    swap_xy: o.SwapXy = False,
    encoding: o.Encoding = None,
    header_row: o.HeaderRow = None,
    order: o.Order = None,
    decimal: o.Decimal = None,
    write_profile: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a commented profile to start from."),
    ] = None,
    allow_remote: o.AllowRemote = False,
    as_json: o.Json = False,
    quiet: o.Quiet = False,
) -> None:
    """
    What is in a source: layers, fields, CRS, units, what looks wrong, a suggested mapping.

    Nothing is brought in. A field behind a column in brackets is only likely; say it with --field,
    or in a profile.

    \b
    Example:
      hydrantgis inspect hydrants.zip
      hydrantgis inspect city.gdb --layer Hydrants --json
      hydrantgis inspect hydrants.csv --write-profile hydrants.toml
    """
    from hydrantgis.intake.look import look
    from hydrantgis.intake.profile import start_profile
    from hydrantgis.intake.remote import told

    words, kind = said_words(
        profile, crs=crs, layer=layer, near=near, places=place, swap_xy=swap_xy, encoding=encoding,
        header_row=header_row, order=order, decimal=decimal,
    )  # fmt: skip
    kind = as_kind or kind
    if kind is not None and kind not in (*LAYER_KINDS, *SURVEY_KINDS):
        raise WordsError(f"`{kind}` is not read here", accepted=", ".join(LAYER_KINDS))
    tell = teller(quiet=quiet)
    tell(f"looking into {told(source)}")
    if write_profile is not None:
        _need_free(write_profile)
        start = start_profile(source, words=words, kind=kind, allow_remote=allow_remote)
        _write_text(write_profile, start)
    report = look(source, words=words, kind=kind, allow_remote=allow_remote)
    if as_json:
        put_json(report)
        return
    put(f"{report['source']} ({report['driver']}), {len(report['layers'])} layer(s)")
    for name, reason in report["unreadable"].items():
        put(f"  {name} cannot be read: {reason}")
    for entry in report["layers"]:
        _put_layer(entry)
    if write_profile is not None:
        put()
        put(f"A profile to start from stands in {write_profile}; correct it, then")
        put(f"  hydrantgis import {told(source)} --profile {write_profile}")


def _need_free(path: Path) -> None:
    """Refuse to write a profile over one that somebody may have corrected."""
    if path.exists():
        raise WordsError(
            "the profile is there already", where=str(path), do="name another file, or move it away"
        )


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _put_layer(entry: dict[str, Any]) -> None:
    from hydrantgis.intake.match import SURE

    put()
    put(f"Layer {entry['name']}: {entry['geometry_type'] or 'table'}, {entry['rows']:,} rows")
    put(f"  looks like: {entry['likely_kind']}")
    put(f"  CRS: {entry['crs_told'] or 'none'}")
    if entry["crs_area"]:
        put(f"  used in: {entry['crs_area'][:100]}")
    for number, candidate in enumerate(entry["crs_candidates"]):
        put(f"  {'may be:' if number == 0 else '       '} {candidate}")
    if entry["place"]["form"]:
        put(f"  place: {entry['place']['form']} in {', '.join(entry['place']['fields'])}")
    if entry["bounds"]:
        west, south, east, north = entry["bounds"]
        digits = 6 if max(abs(west), abs(east)) <= 360 else 1
        put(
            f"  extent: x {west:,.{digits}f} to {east:,.{digits}f}, "
            f"y {south:,.{digits}f} to {north:,.{digits}f}"
        )
    if entry["z"].get("present"):
        z = entry["z"]
        put(
            f"  Z: {z['present']:,} points, {z['least']:g} to {z['greatest']:g}, "
            f"{z['exactly_zero']:,} exactly 0; brought in only where a field is said to be `(Z)`"
        )
    put("  Fields")
    rows = [("field", "type", "filled", "distinct", "seems to be", "sure", "examples")]
    for field in entry["fields"]:
        column = field["column"]
        sure = f"{field['confidence']:.0%}" if column and column in field["meaning"] else ""
        rows.append(
            (
                field["name"], field["type"], f"{field['filled']:,}", f"{field['distinct']:,}",
                field["meaning"], sure, some(field["examples"], 3)[:48],
            )
        )  # fmt: skip
    grid(rows, right=(2, 3, 5), indent=4)
    unsure = [f for f in entry["fields"] if f["column"] and f["confidence"] < SURE]
    if unsure:
        put("  Only likely; say it with --field or in a profile")
        grid([(f["name"], f"{f['column']}?", f["reason"]) for f in unsure], indent=4)
    if entry["findings"]:
        put("  What was noticed")
        rank = {"error": 0, "warning": 1, "note": 2}
        told = sorted(entry["findings"], key=lambda f: rank[f["severity"]])
        grid([(f["severity"], f["code"], f["field"], f["message"]) for f in told], indent=4)


def import_layer(
    source: o.Source,
    as_kind: Annotated[
        str | None,
        typer.Option("--as", help="hydrants, areas, valves, mains, streets, facilities or works."),
    ] = None,
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    crs: o.Crs = None,
    layer: o.Layer = None,
    profile: o.Profile = None,
    near: o.Near = None,
    place: o.Places = None,
    swap_xy: o.SwapXy = False,
    encoding: o.Encoding = None,
    header_row: o.HeaderRow = None,
    decimal: o.Decimal = None,
    field: o.Fields = None,
    unit: o.Units = None,
    spelling: o.Spellings = None,
    value: o.Values = None,
    date_order: o.DateOrder = None,
    number_rows: o.NumberRows = None,
    write_profile: o.WriteProfile = None,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace",
            help="Take away what came from other sources; retire hydrants that the layer lacks.",
        ),
    ] = False,
    adds: Annotated[
        bool, typer.Option("--adds", help="Retire no hydrant, even where the layer lacks some.")
    ] = False,
    beyond: o.Beyond = False,
    allow_remote: o.AllowRemote = False,
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Hydrants, areas, valves, mains, streets or facilities into the register.

    Every row is accounted for: accepted, held until someone decides, or rejected. The first hydrant
    layer makes the register and gives it its CRS. A newer vintage of it, one that holds at least
    two thirds of its hydrants, is told by what is new, gone, moved and changed; what is gone is
    retired.

    \b
    Example:
      hydrantgis import hydrants.gpkg --register register.gpkg
      hydrantgis import districts.shp --as areas --field area_id=DIST_NO
      hydrantgis import list.csv --crs EPSG:4326 --number-rows H- --dry-run
    """
    words, kind = said_words(
        profile, crs=crs, layer=layer, near=near, places=place, swap_xy=swap_xy, encoding=encoding,
        header_row=header_row, decimal=decimal, fields=field, units=unit, spellings=spelling,
        values=value, date_order=date_order, number_rows=number_rows,
    )  # fmt: skip
    bring(
        source, as_kind or kind or "hydrants", LAYER_KINDS, register, words,
        replace=replace, adds=adds, strict=strict, as_json=as_json, dry_run=dry_run, quiet=quiet,
        allow_remote=allow_remote,
        beyond=beyond, write_profile=write_profile,
    )  # fmt: skip


def bring(
    source: str,
    kind: str,
    kinds: tuple[str, ...],
    register: Path,
    words: IntakeWords,
    *,
    replace: bool = False,
    adds: bool = False,
    strict: bool,
    as_json: bool,
    dry_run: bool,
    quiet: bool,
    allow_remote: bool,
    beyond: bool,
    write_profile: Path | None,
) -> None:
    """Bring a source in and tell what came of it; what `import` and `survey` have in common."""
    if kind not in kinds:
        surfaces = ("terrain", "surface") if kinds == SURVEY_KINDS else ()
        raise WordsError(
            f"`{kind}` is not read here", accepted=", ".join((*kinds, *surfaces)),
            do="say --as KIND",
        )  # fmt: skip
    from hydrantgis import job
    from hydrantgis.ground.findings import join_findings
    from hydrantgis.intake.profile import profile_of

    if write_profile is not None:
        _need_free(write_profile)

    intake, added = job.bring_in(
        register,
        source,
        kind,
        words=words,
        replace=replace,
        adds=adds,
        dry_run=dry_run,
        allow_remote=allow_remote,
        beyond=beyond,
        tell=teller(quiet=quiet),
    )
    if as_json:
        put_json(_as_json(intake, added, register, dry_run=dry_run))
    else:
        _put_intake(intake, added, register, dry_run=dry_run)
    if write_profile is not None and not dry_run:
        _write_text(write_profile, profile_of(words, kind))
    if strict and has_errors(join_findings(intake.findings, added.findings)):
        raise typer.Exit(DATA_ERRORS)


def _as_json(intake: Intake, added: Added, register: Path, *, dry_run: bool) -> dict[str, Any]:
    import json

    from hydrantgis.cli.changes import changes_told
    from hydrantgis.ground.findings import join_findings

    noticed = join_findings(intake.findings, added.findings)
    return {
        "register": str(register),
        "dry_run": dry_run,
        "already_there": added.known,
        "added": added.rows,
        "unchanged": added.unchanged,
        "from_other_sources": added.others,
        "gave_way": added.struck,
        "rows": {
            "in": intake.count.rows,
            "accepted": intake.count.accepted,
            "held": intake.count.held,
            "rejected": intake.count.rejected,
        },
        "intake": {**intake.record, "fields": json.loads(str(intake.record["fields"]))},
        "foot": intake.foot,
        "changes": changes_told(added),
        "findings": json.loads(noticed.to_json(orient="records")),
    }


def _put_intake(intake: Intake, added: Added, register: Path, *, dry_run: bool) -> None:
    import json

    from hydrantgis.cli.changes import put_changes
    from hydrantgis.ground.findings import join_findings
    from hydrantgis.job import beside

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
    if added.struck:
        put(f"  {added.struck:,} told before by this file give way to this telling")
    if added.others:
        put(f"  {added.others:,} stay from other sources; --replace takes them away")
    if record["crs"]:
        foot = f"; {intake.foot}" if intake.foot else ""
        put(f"  CRS {record['crs']}, named by the {record['crs_from']}{foot}")
    put("Fields")
    grid([(column, "<-", name) for column, name in json.loads(str(record["fields"])).items()])
    put_changes(added, dry_run=dry_run)
    put_findings(join_findings(intake.findings, added.findings))
    if len(intake.exceptions):
        where = "" if dry_run else f" and in {beside(register, 'exceptions')}"
        put(f"Held and rejected rows stand in the layer `exceptions`{where}, as they were.")
    if len(added.changes) and not dry_run:
        put(f"These changes stand in {beside(register, 'changes')}, all in the layer `changes`.")
