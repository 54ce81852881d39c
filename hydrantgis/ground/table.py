"""
What a table is: one declaration, from which everything else about the table is derived.

From the columns come the dtypes after a read, the checks of values, the Arrow schema a file is
written with, the field titles and allowed values in a GeoPackage, and the tables in the README.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.text import numbers
from hydrantgis.ground.units import LengthUnit

if TYPE_CHECKING:
    from collections.abc import Collection

    import pyproj


class Kind(StrEnum):
    """What a column holds."""

    TEXT = "text"
    REAL = "real"
    INTEGER = "integer"
    FLAG = "flag"
    DATE = "date"
    MOMENT = "moment"


_DTYPES: dict[Kind, Any] = {
    Kind.TEXT: "str",
    Kind.REAL: "float64",
    Kind.INTEGER: "Int64",
    Kind.FLAG: "boolean",
    Kind.DATE: "datetime64[ms]",
    Kind.MOMENT: "datetime64[ms]",
}
_ARROW = {
    Kind.TEXT: pa.string(),
    Kind.REAL: pa.float64(),
    Kind.INTEGER: pa.int64(),
    Kind.FLAG: pa.bool_(),
    Kind.DATE: pa.date32(),
    Kind.MOMENT: pa.timestamp("ms", tz="UTC"),
}
_SUFFIXES = {"_in": LengthUnit.IN, "_ft": LengthUnit.FT, "_m": LengthUnit.M}


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """
    One column.

    A name that ends in a unit must carry that unit, so that no name lies.

    Examples
    --------
    >>> Column(name="raise_in", kind=Kind.REAL, title="Raise", about="..", unit=LengthUnit.FT)
    Traceback (most recent call last):
    ValueError: column `raise_in`: the name ends in a unit that is not its unit
    """

    name: str
    kind: Kind
    title: str
    about: str
    unit: LengthUnit | None = None
    required: bool = False
    least: float | None = None
    most: float | None = None
    allowed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        named = next((u for end, u in _SUFFIXES.items() if self.name.endswith(end)), None)
        if named != self.unit:
            msg = f"column `{self.name}`: the name ends in a unit that is not its unit"
            raise ValueError(msg)
        if self.least is not None and self.most is not None and self.least >= self.most:
            msg = f"column `{self.name}`: {self.least} is not below {self.most}"
            raise ValueError(msg)

    @property
    def limited(self) -> bool:
        """Whether there is a least or a greatest value."""
        return self.least is not None or self.most is not None

    @property
    def limits_told(self) -> str:
        """The limits in words."""
        low = -np.inf if self.least is None else self.least
        high = np.inf if self.most is None else self.most
        ends = numbers([low, high])
        return f"allowed is {ends[0]} to {ends[1]}{f' {self.unit}' if self.unit else ''}"

    def outside(self, values: pd.Series) -> pd.Series:
        """Which values lie outside the limits; a missing one does not. Same index."""
        low = -np.inf if self.least is None else self.least
        high = np.inf if self.most is None else self.most
        return values.notna() & ~values.between(low, high)

    @property
    def heading(self) -> str:
        """Title with the unit behind it, for people."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """
    One table: its columns, the column that names a row, and the geometry, if any.

    `geometry` is `None` for a table without one, else a simple-feature type name.
    """

    name: str
    title: str
    about: str
    key: str
    columns: tuple[Column, ...]
    geometry: str | None = None

    def __post_init__(self) -> None:
        names = self.names
        if len(set(names)) != len(names) or self.key not in names:
            msg = f"table `{self.name}`: a column stands twice, or the key is no column"
            raise ValueError(msg)

    @property
    def names(self) -> list[str]:
        """Column names in order, without the geometry."""
        return [column.name for column in self.columns]

    def __getitem__(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)

    def only(self, names: Collection[str]) -> Table:
        """The same table with fewer columns, in declared order; the key stays."""
        kept = tuple(c for c in self.columns if c.name in names or c.name == self.key)
        return replace(self, columns=kept)

    def empty(self, crs: pyproj.CRS | None = None) -> pd.DataFrame:
        """
        The table with no rows, with its dtypes.

        Parameters
        ----------
        crs
            Of the geometry, for a table that has one.
        """
        frame = pd.DataFrame({c.name: pd.Series([], dtype=_DTYPES[c.kind]) for c in self.columns})
        if self.geometry is None:
            return frame
        return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries([], crs=crs), crs=crs)

    def conform(self, frame: pd.DataFrame) -> pd.DataFrame:
        """
        The frame with exactly the declared columns, in order, with the declared dtypes.

        Parameters
        ----------
        frame
            Columns that are not declared are left out; missing ones are added, empty.

        Returns
        -------
        conformed
            Same index; a GeoDataFrame where the table has a geometry. The input is not changed.

        Raises
        ------
        ValueError, TypeError
            A value cannot be what its column holds; intake clears such cells before.
        """
        made: dict[str, object] = {}
        for column in self.columns:
            dtype = _DTYPES[column.kind]
            if column.name not in frame:
                made[column.name] = pd.Series(None, index=frame.index, dtype=dtype)
                continue
            series = frame[column.name]
            if column.kind is Kind.TEXT:
                made[column.name] = series.astype("str")
            elif column.kind in (Kind.DATE, Kind.MOMENT):
                moments = pd.to_datetime(series, utc=True).dt.tz_localize(None)
                made[column.name] = moments.astype(dtype)
            elif column.kind is Kind.FLAG:
                made[column.name] = series.astype("object").astype("boolean")
            else:
                made[column.name] = series.astype(dtype)
        result = pd.DataFrame(made, index=frame.index)
        if self.geometry is None:
            return result
        geometry = frame.geometry if isinstance(frame, gpd.GeoDataFrame) else None
        return gpd.GeoDataFrame(result, geometry=geometry, crs=getattr(geometry, "crs", None))

    def validate(self, frame: pd.DataFrame) -> pd.DataFrame:
        """
        Every value that the declaration does not allow, as findings.

        Parameters
        ----------
        frame
            A conformed frame.

        Returns
        -------
        findings
            One row for each fault, all faults; none where the frame keeps its declaration.
        """
        keys = frame[self.key].fillna("(no id)").astype("str")
        found: list[pd.DataFrame] = []

        def note(code: str, column: Column, bad: pd.Series, message: str) -> None:
            if bad.any():
                found.append(
                    findings(
                        code,
                        table=self.name,
                        keys=keys[bad],
                        column=column.name,
                        values=frame.loc[bad, column.name],
                        messages=message,
                    )
                )

        for column in self.columns:
            values = frame[column.name]
            if column.required:
                note("value-missing", column, values.isna(), f"`{column.name}` is required")
            if column.allowed:
                bad = values.notna() & ~values.isin(column.allowed)
                note("value-not-allowed", column, bad, f"allowed are {', '.join(column.allowed)}")
            if column.limited:
                note("value-out-of-range", column, column.outside(values), column.limits_told)
        return join_findings(*found)

    def to_arrow(self, frame: pd.DataFrame) -> pa.Table:
        """
        A conformed frame as an Arrow table with the declared types, geometry as WKB.

        Returns
        -------
        table
            Columns in declared order, then `geometry` where the table has one.
        """
        arrays = [
            pa.array(frame[c.name], type=_ARROW[c.kind], from_pandas=True)
            if c.kind is not Kind.DATE
            else pc.cast(pa.array(frame[c.name], from_pandas=True), pa.date32())
            for c in self.columns
        ]
        fields = [pa.field(c.name, _ARROW[c.kind]) for c in self.columns]
        if self.geometry is not None and isinstance(frame, gpd.GeoDataFrame):
            arrays.append(pa.array(frame.geometry.to_wkb(), type=pa.binary()))
            fields.append(
                pa.field("geometry", pa.binary(), metadata={"ARROW:extension:name": "geoarrow.wkb"})
            )
        return pa.Table.from_arrays(arrays, schema=pa.schema(fields))

    def to_markdown(self) -> str:
        """The columns as a Markdown table, for the README."""
        rows = ["| column | kind | unit | what it is |", "|---|---|---|---|"]
        for c in self.columns:
            about = c.about + (f" One of: {', '.join(c.allowed)}." if c.allowed else "")
            rows.append(f"| `{c.name}` | {c.kind} | {c.unit or ''} | {about} |")
        return "\n".join(rows)
