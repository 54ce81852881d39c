"""
Layers of a user's own under the hydrants of a map: parcels, contours, anything of lines.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd

from hydrantgis.ground.errors import CRSError, SourceError
from hydrantgis.intake.source import opened, read_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hydrantgis.deliver.background import Background

_OF_LAYER, _TITLED = "::", "="
_COLORS = ("#a08a5b", "#7f9a72", "#957ba3", "#6f8b98")
_NAMES = ("street_title", "name", "fullname", "full_name", "street", "streetname", "st_name")


def read_backgrounds(sources: Sequence[str], *, crs: str | None = None) -> list[Background]:
    """
    Read layers to be drawn under the hydrants; nothing of them goes into the register.

    Parameters
    ----------
    sources
        Files; `FILE::LAYER` where a file has several layers, and `TITLE=FILE` to call it otherwise
        than the file does.
    crs
        Of those that say none.

    Raises
    ------
    UnreadableError
        A file is not there or damaged.
    SourceError
        It has several layers and none is named, or no shapes.
    CRSError
        A layer says no coordinate reference system, and none is named.
    """
    return [_read(source, crs, _COLORS[k % len(_COLORS)]) for k, source in enumerate(sources)]


def _read(text: str, crs: str | None, color: str) -> Background:
    from hydrantgis.deliver.background import Background, names_of

    title, _, rest = text.rpartition(_TITLED)
    if Path(text.partition(_OF_LAYER)[0]).exists():
        title, rest = "", text
    path, _, wanted = rest.partition(_OF_LAYER)
    with opened(path) as source:
        names = [layer.name for layer in source.layers]
        found = [layer for layer in source.layers if layer.name == wanted or not wanted]
        if len(found) != 1:
            raise SourceError(
                "the background has several layers" if len(found) else "there is no such layer",
                where=source.name,
                found=wanted or f"{len(names)} layers",
                accepted=", ".join(names),
                do=f"name one as {path}{_OF_LAYER}{names[0] if names else 'LAYER'}",
            )
        rows, _ = read_rows(source, found[0])
    if not isinstance(rows, gpd.GeoDataFrame):
        raise SourceError(
            "the background has no shapes", where=source.name,
            do="name a layer of lines or outlines",
        )  # fmt: skip
    if rows.crs is None:
        if crs is None:
            raise CRSError(
                "the background has no coordinate reference system", where=source.name,
                do="name it with --crs, for example EPSG:2249; none is guessed",
            )  # fmt: skip
        rows = rows.set_crs(crs)
    named = {str(field).lower(): str(field) for field in rows.columns}
    field = next((named[name] for name in _NAMES if name in named), "")
    return Background(
        title=title or found[0].name,
        frame=rows,
        names=names_of(rows, field),
        color=color,
        width=1.0,
    )
