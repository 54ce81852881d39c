"""
The command `survey`: measured heights, grade shots and surfaces of the ground.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.bring import SURVEY_KINDS, bring
from hydrantgis.cli.said import said_words
from hydrantgis.cli.talk import DATA_ERRORS, has_errors, put, put_findings, put_json, teller
from hydrantgis.ground.errors import WordsError

if TYPE_CHECKING:
    import datetime as dt
    from typing import Any

    from hydrantgis.job import Surfaced

SURFACE_KINDS = {"terrain": "terrain", "surface": "design"}


def survey(
    source: o.Source,
    as_kind: Annotated[
        str | None, typer.Option("--as", help="readings, shots, terrain or surface.")
    ] = None,
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
    rmse_z: Annotated[
        str | None,
        typer.Option(help="RMSEz of a terrain, for example `10 cm`; or from-shots, from-metadata."),
    ] = None,
    accuracy_95: Annotated[
        str | None, typer.Option("--accuracy-95", help="Its accuracy at 95 %, as reports state it.")
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(help="Day of a terrain or a design, or of all readings or shots: 2026-05-01."),
    ] = None,
    elev_sd: Annotated[
        str | None,
        typer.Option(help="Standard uncertainty of every shot, for example `2 cm`."),
    ] = None,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace",
            help="This file corrects the one of its name: what that told gives way.",
        ),
    ] = False,
    name: Annotated[str | None, typer.Option(help="What the register calls a surface.")] = None,
    tile: Annotated[
        list[Path] | None, typer.Option(help="One more raster of the same grid; can be repeated.")
    ] = None,
    nodata: Annotated[
        float | None, typer.Option(help="Mark for no value in a raster that declares none.")
    ] = None,
    band: Annotated[int | None, typer.Option(min=1, help="Band of a raster of several.")] = None,
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
    field: o.Fields = None,
    unit: o.Units = None,
    spelling: o.Spellings = None,
    value: o.Values = None,
    date_order: o.DateOrder = None,
    number_rows: o.NumberRows = None,
    write_profile: o.WriteProfile = None,
    beyond: o.Beyond = False,
    allow_remote: o.AllowRemote = False,
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Measured heights, grade shots and surfaces of the ground into the register.

    A height needs to say how it was measured, to which outlet and from where; an elevation, its
    unit and vertical datum. What the source does not say, the options say for all rows. A terrain
    (the ground as it is) and a surface (the ground as designed) are read at every hydrant: rasters,
    or triangles out of LandXML.

    \b
    Example:
      hydrantgis survey readings.csv --register register.gpkg
      hydrantgis survey heights.csv --method tape --measured-to pumper-centerline \\
        --measured-from grade --unit outlet_height_in=in
      hydrantgis survey shots.csv --as shots --crs EPSG:3736 --unit elev_ft=ftUS \\
        --vertical-datum NAVD88
      hydrantgis survey shots.txt --as shots --on 2026-05-01 --method gnss --order PNEZD \\
        --crs EPSG:3736 --unit elev_ft=ftUS --vertical-datum NAVD88 \\
        --measured-to pumper-centerline
      hydrantgis survey dem.tif --as terrain --unit elev_ft=m --vertical-datum NAVD88 \\
        --rmse-z "10 cm" --on 2024-04-15
      hydrantgis survey design.xml --as surface --name elm-street
    """
    if as_kind in SURFACE_KINDS:
        _bring_surface(
            [Path(source), *(tile or [])], SURFACE_KINDS[as_kind], register,
            rmse_z=rmse_z, accuracy_95=accuracy_95, on=on, name=name, nodata=nodata, band=band,
            crs=crs, layer=layer, unit=unit, vertical_datum=vertical_datum, strict=strict,
            as_json=as_json, dry_run=dry_run, quiet=quiet,
        )  # fmt: skip
        return
    given = {
        "--rmse-z": rmse_z, "--accuracy-95": accuracy_95, "--name": name,
        "--tile": tile, "--nodata": nodata, "--band": band,
    }  # fmt: skip
    for option, value_of in given.items():
        if value_of is not None:
            raise WordsError(
                f"{option} goes with --as terrain or surface", do="say one, or leave it"
            )
    day, sd = _day(on), _length_said("--elev-sd", elev_sd)
    words, kind = said_words(
        profile, crs=crs, layer=layer, near=near, places=place, swap_xy=swap_xy, encoding=encoding,
        header_row=header_row, order=order, decimal=decimal, fields=field, units=unit,
        spellings=spelling, values=value, date_order=date_order, number_rows=number_rows,
        constants={
            "method": method, "measured_to": measured_to, "measured_from": measured_from,
            "vertical_datum": vertical_datum,
        },
    )  # fmt: skip
    kind = as_kind or kind or "readings"
    more = {
        "shot_date" if kind == "shots" else "reading_date": None if day is None else str(day),
        "elev_sd_ft": None if sd is None else f"{sd!r} ft",
    }
    if kind == "shots" and method is not None:
        more["elev_sd_ft"] = more["elev_sd_ft"] or _sd_of_method(method)
        words.constants.pop("method", None)
    words.constants.update({name: said for name, said in more.items() if said is not None})
    bring(
        source, kind, SURVEY_KINDS, register, words, replace=replace,
        strict=strict, as_json=as_json, dry_run=dry_run, quiet=quiet, allow_remote=allow_remote,
        beyond=beyond, write_profile=write_profile,
    )  # fmt: skip


def _bring_surface(
    paths: list[Path],
    role: str,
    register: Path,
    *,
    rmse_z: str | None,
    accuracy_95: str | None,
    on: str | None,
    name: str | None,
    nodata: float | None,
    band: int | None,
    crs: str | None,
    layer: str | None,
    unit: list[str] | None,
    vertical_datum: str | None,
    strict: bool,
    as_json: bool,
    dry_run: bool,
    quiet: bool,
) -> None:
    from hydrantgis import job
    from hydrantgis.ground.units import unit_of
    from hydrantgis.intake.surfaces import SurfaceWords
    from hydrantgis.intake.words import pairs

    units = pairs(unit or [], "--unit")
    if set(units) - {"elev_ft"}:
        raise WordsError("a surface has elevations alone", accepted="--unit elev_ft=UNIT")
    said = SurfaceWords(
        name=name, layer=layer, crs=crs, vertical_datum=vertical_datum, nodata=nodata, band=band,
        unit=unit_of(units["elev_ft"]) if units else None,
    )  # fmt: skip
    told_by_others = (job.FROM_SHOTS, job.FROM_METADATA)
    done = job.bring_surface(
        register, paths, role, words=said, on=_day(on),
        rmse_z_ft=rmse_z if rmse_z in told_by_others else _length_said("--rmse-z", rmse_z),
        accuracy_95_ft=_length_said("--accuracy-95", accuracy_95), dry_run=dry_run,
        tell=teller(quiet=quiet),
    )  # fmt: skip
    if as_json:
        put_json(_as_json(done, register, dry_run=dry_run))
    else:
        _put_surface(done, register, dry_run=dry_run)
    if strict and has_errors(done.findings):
        raise typer.Exit(DATA_ERRORS)


def _length_said(option: str, text: str | None) -> float | None:
    """A length with its unit, in feet."""
    from hydrantgis.ground.units import parse_length_in

    if text is None:
        return None
    length, reason = parse_length_in(text, unit=None)
    if reason is not None:
        raise WordsError(
            f"`{text}` is no length for {option}: {reason}", accepted="for example `10 cm`"
        )
    return length / 12.0


def _sd_of_method(method: str) -> str:
    """The standard uncertainty of one point by a method, as a length with its unit."""
    from hydrantgis.standards.methods import METHODS

    points = [name for name, told in METHODS.items() if told.of_points]
    if method not in points:
        raise WordsError(f"`{method}` is no method for shots", accepted=", ".join(points))
    return f"{METHODS[method].sd_in / 2**0.5!r} in"


def _day(text: str | None) -> dt.date | None:
    import datetime as dt

    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise WordsError(f"`{text}` is no day", accepted="for example 2026-05-01") from error


def _as_json(done: Surfaced, register: Path, *, dry_run: bool) -> dict[str, Any]:
    import json
    from dataclasses import asdict

    return {
        "register": str(register),
        "dry_run": dry_run,
        "already_there": done.known,
        "surface": done.record["layer"],
        "hydrants": {"in": done.count.rows, "told": done.count.accepted},
        "intake": {**done.record, "options": json.loads(str(done.record["options"]))},
        "accuracy": None if done.accuracy is None else asdict(done.accuracy),
        "findings": json.loads(done.findings.to_json(orient="records")),
    }


def _put_surface(done: Surfaced, register: Path, *, dry_run: bool) -> None:
    record, rows = done.record, done.rows
    put(f"{record['source']}, surface {record['layer']}, as {record['as_kind']}")
    put(
        f"  {done.count.rows:,} hydrants in = {done.count.accepted:,} with ground + "
        f"{done.count.rejected:,} without"
    )
    if done.known:
        put(f"  the same surface was brought in before: nothing added to {register}")
    elif dry_run:
        put(f"  dry run: nothing was written to {register}")
    put(f"  CRS {record['crs']}, named by the {record['crs_from']}")
    elev, sd = rows["elev_ft"], rows["elev_sd_ft"]
    put(
        f"  ground {elev.min():,.1f} to {elev.max():,.1f} ft, {rows['vertical_datum'].iloc[0]}; "
        f"standard uncertainty {sd.min():.2f} to {sd.max():.2f} ft"
    )
    put_findings(done.findings)
