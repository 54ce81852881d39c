"""
The command `survey`: measured heights and grade shots.
"""

from __future__ import annotations

from typing import Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.bring import SURVEY_KINDS, bring
from hydrantgis.cli.said import said_words


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
      hydrantgis survey shots.txt --as shots --order PNEZD --crs EPSG:3736 --unit elev_ft=ftUS \\
        --vertical-datum NAVD88 --measured-to pumper-centerline
    """
    words, kind = said_words(
        profile, crs=crs, layer=layer, near=near, places=place, swap_xy=swap_xy, encoding=encoding,
        header_row=header_row, order=order, decimal=decimal, fields=field, units=unit,
        spellings=spelling, values=value, date_order=date_order, number_rows=number_rows,
        constants={
            "method": method, "measured_to": measured_to, "measured_from": measured_from,
            "vertical_datum": vertical_datum,
        },
    )  # fmt: skip
    bring(
        source, as_kind or kind or "readings", SURVEY_KINDS, register, words,
        strict=strict, as_json=as_json, dry_run=dry_run, quiet=quiet, allow_remote=allow_remote,
        beyond=beyond, write_profile=write_profile,
    )  # fmt: skip
