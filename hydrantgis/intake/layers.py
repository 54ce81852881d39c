"""
What a source is made of, before a row of it is read.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SourceError, UnreadableError

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd
    import pyproj


@dataclass(frozen=True, slots=True)
class Layer:
    """
    One layer, as far as it can be told without reading its rows.

    Attributes
    ----------
    crs
        None where the source names none.
    fields
        Name and type as the format has them.
    """

    name: str
    geometry_type: str | None
    rows: int
    crs: pyproj.CRS | None
    fields: dict[str, str]
    bounds: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """
    A source and its layers.

    Attributes
    ----------
    name
        What messages and records call it.
    address
        What a library opens.
    encoding
        How its letters are written, where that is known.
    tables
        The rows of each layer, of a source that cannot be looked at without reading them.
    """

    path: Path
    name: str
    address: str = field(repr=False)
    driver: str
    layers: tuple[Layer, ...]
    options: dict[str, Any] = field(default_factory=dict)
    encoding: str | None = None
    tables: dict[str, pd.DataFrame] = field(default_factory=dict, compare=False, repr=False)

    def layer(self, name: str | None) -> Layer:
        """
        The layer of that name, or the only one.

        Raises
        ------
        SourceError
            There are several and none is named, or none of that name.
        """
        names = [layer.name for layer in self.layers]
        told = "; ".join(
            f"{x.name} ({x.geometry_type or 'table'}, {x.rows:,})" for x in self.layers
        )
        if name is None and len(self.layers) == 1:
            return self.layers[0]
        if name is None:
            raise SourceError(
                f"the source has {len(names)} layers and none is named",
                where=self.name,
                accepted=told,
                do="pass --layer NAME",
            )
        unreadable = self.options.get("unreadable", {})
        if name in unreadable:
            raise UnreadableError(
                f"the layer `{name}` cannot be read: {unreadable[name]}",
                where=self.name,
                accepted=told,
                do="mend it, or pass --layer NAME",
            )
        if name not in names:
            raise SourceError(
                f"there is no layer `{name}`",
                where=self.name,
                accepted=told,
                do="pass --layer NAME",
            )
        return self.layers[names.index(name)]
