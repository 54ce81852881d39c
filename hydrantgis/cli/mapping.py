"""
The command that draws: map.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.judge import end, outlet_said, put_caution, put_result, result_json, typed
from hydrantgis.cli.talk import put, put_json, teller

if TYPE_CHECKING:
    from hydrantgis.deliver.offline import Tiles


def map_hydrants(
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    title: Annotated[str, typer.Option(help="What stands at the head of the map.")] = "Hydrants",
    season: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A season file: the map shows what it does, and the pages number its jobs.",
        ),
    ] = None,
    background: Annotated[
        list[str] | None,
        typer.Option(
            metavar="[TITLE=]FILE[::LAYER]",
            help="Lines or outlines of your own under the hydrants; several times for several.",
        ),
    ] = None,
    crs: o.Crs = None,
    background_mb: Annotated[
        float, typer.Option(min=0.01, help="What all lines may take; they are simplified to fit.")
    ] = 1.0,
    tiles: Annotated[
        str | None,
        typer.Option(
            metavar="URL",
            help="A map server under everything, as https://host/{z}/{x}/{y}.png; the page then "
            "asks it for pictures. Nothing is asked of the network without.",
        ),
    ] = None,
    attribution: Annotated[
        str | None, typer.Option(help="Whose map the tiles are, as their terms ask for it.")
    ] = None,
    out: o.Out = Path("map.html"),
    pages: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Also a page an area for print: areas.pdf and area_*.png go to DIR.",
        ),
    ] = None,
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    The web map: one HTML file that opens without any network.

    Streets, mains, valves, facilities and areas of the register are on it; --background adds lines
    of your own. With --pages also a letter page an area for print: its hydrants by verdict, its
    jobs numbered as in the list beside the map, and longer lists on pages of their own.

    \b
    Example:
      hydrantgis map --rule nfpa24-2019 --kits generic --title "Our district" --out map.html
      hydrantgis map --background Parcels=lots.gpkg --background base.gpkg::contours
      hydrantgis map --rule our-rule.toml --kits our-kits.toml --pages maps --season season.toml
    """
    from hydrantgis import job
    from hydrantgis.deliver.webmap import save_map

    served = _tiles(tiles, attribution)
    tell = teller(quiet=quiet)
    layers = job.read_backgrounds(background or [], crs=crs)
    result = job.check(
        register, rule=rule, kits=kits, outlet=outlet_said(outlet), command=typed(), tell=tell
    )
    planned = None
    if season is not None:
        planned = job.plan_season(result, job.load_season(season), tell=tell)
    tell("map")
    drawn = job.draw_map(
        result, title=title, planned=planned, backgrounds=layers,
        background_budget=int(background_mb * 1e6), tiles=served,
    )  # fmt: skip
    path = out / "map.html" if out.is_dir() else out
    written: list[Path] = []
    if not dry_run:
        save_map(drawn, path)
        if pages is not None:
            tell("area maps")
            written = job.write_area_maps(
                result, job.plan(result), pages, planned=planned, title=title
            )
    if as_json:
        told = {
            "file": None if dry_run else str(path),
            "made_of": list(drawn.told),
            "pages": [str(page) for page in written],
        }
        put_json({**result_json(result), **told})
    else:
        put_result(result)
        for line in drawn.told:
            put(f"  {line}")
        network = "opens without a network" if served is None else f"asks {served.source}"
        size = "" if dry_run else f"{path.stat().st_size / 1e6:.1f} MB, {network}"
        put("nothing was written (dry run)" if dry_run else f"Map: {path}, {size}")
        if written:
            put(f"Area maps: {written[0]}, and a picture of each beside it")
        put_caution()
    end(result, strict=strict)


def _tiles(url: str | None, attribution: str | None) -> Tiles | None:
    from hydrantgis.deliver.offline import Tiles
    from hydrantgis.ground.errors import WordsError

    if url is None:
        if attribution is not None:
            raise WordsError("--attribution is for tiles", do="name a map server with --tiles")
        return None
    return Tiles(url, attribution or "")
