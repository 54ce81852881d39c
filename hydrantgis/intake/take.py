"""
One intake: a source's rows become canonical rows, and every row is accounted for.

Rows in = accepted + held + rejected. A held row waits for someone to decide (no id, one id for two
places, a hydrant that is not known); a rejected row cannot be used (no height, the same row again).
Neither disappears: both stand among the exceptions, as the source had them, with the reason.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis import __version__
from hydrantgis.ground.errors import SourceError, some
from hydrantgis.ground.findings import CODES, findings, join_findings
from hydrantgis.ground.plane import xy
from hydrantgis.ground.tables import (
    AREAS,
    EXCEPTIONS,
    FACILITIES,
    HYDRANTS,
    MAINS,
    READINGS,
    SHOTS,
    VALVES,
)
from hydrantgis.ground.text import fill
from hydrantgis.intake import source as sources
from hydrantgis.intake.cells import read_cells
from hydrantgis.intake.crs import far_off, hold_against_area, resolve, short
from hydrantgis.intake.ledger import Count, Ledger
from hydrantgis.intake.match import field_map, suggest
from hydrantgis.intake.shapes import bounds_of, read_shapes
from hydrantgis.intake.surveys import settle_readings, settle_shots

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    import pyproj

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.layers import Layer
    from hydrantgis.intake.words import IntakeWords

TABLES: dict[str, Table] = {
    t.name: t for t in (HYDRANTS, AREAS, VALVES, MAINS, FACILITIES, READINGS, SHOTS)
}
"""What a source can be read as."""

_NEEDED = {"readings": ("outlet_height_in", "outlet_elev_ft"), "shots": ("elev_ft",)}


@dataclass(frozen=True, slots=True)
class Intake:
    """
    What an intake brought.

    Attributes
    ----------
    kind
        What the source was read as.
    accepted
        The canonical rows, index the row's number in the source.
    exceptions
        The `exceptions` table: rows that were not accepted.
    findings
        What was noticed.
    crs
        Of the accepted shapes; None for a table without any.
    record
        A row of the `imports` table, without the time.
    """

    kind: str
    accepted: pd.DataFrame
    exceptions: pd.DataFrame
    findings: pd.DataFrame
    count: Count
    crs: pyproj.CRS | None
    record: dict[str, object]


def _frame_and_shapes(
    rows: pd.DataFrame,
    table: Table,
    layer: Layer,
    words: IntakeWords,
    ledger: Ledger,
    where: str,
) -> tuple[gpd.GeoSeries | None, pyproj.CRS | None, str]:
    """Shapes in their CRS, for a table that has them."""
    if table.geometry is None:
        return None, None, "none"
    if not isinstance(rows, gpd.GeoDataFrame):
        raise SourceError(
            f"the source has no shapes, and {table.name} need them",
            where=where,
            found=f"fields {some(list(rows.columns), 12)}",
            accepted="a vector layer, or a table with X and Y columns",
            do="name the columns X and Y (or lon and lat, N and E)",
        )
    shapes, many, notes = read_shapes(rows.geometry, table, where=where)
    ledger.notes.append(notes)
    ledger.put_aside(many, "held", "many-parts", message=None)
    crs, crs_from = resolve(layer.crs, words.crs, bounds_of(shapes), where=where)
    shapes = shapes.set_crs(crs, allow_override=True)
    centers = shapes if table.geometry == "Point" else shapes.representative_point()
    points = xy(centers)
    outside = pd.Series(index=rows.index, data=hold_against_area(points, crs, where=where))
    ledger.put_aside(
        outside, "held", "outside-crs-area", f"the point lies where {short(crs)} is not used"
    )
    if table.geometry == "Point":
        far = far_off(points)
        ledger.notes.append(
            findings("far-location", table=table.name, keys=rows.index[far], column="geometry")
        )
    if crs_from == "user" and layer.crs is not None and layer.crs != crs:
        ledger.notes.append(
            findings(
                "crs-overruled", table=table.name, keys=["(all)"], values=[short(layer.crs)],
                messages=f"the source says {short(layer.crs)}; it was read as {short(crs)}",
            )
        )  # fmt: skip
    return shapes, crs, crs_from


def _blank_table_zeros(frame: pd.DataFrame, ledger: Ledger) -> None:
    """A dBASE table writes 0 where a number is not known, so a height of 0 in one tells nothing."""
    for name in ("outlet_height_in", "flange_height_in"):
        if name not in frame:
            continue
        zero = frame[name] == 0
        ledger.notes.append(
            findings(
                "sentinel-value", table=ledger.table.name, keys=frame.index[zero], column=name,
                values=["0"] * int(zero.sum()),
                messages="0 in a shapefile's table may stand for `not known`; left blank",
            )
        )  # fmt: skip
        frame.loc[zero, name] = np.nan


def _number_rows(frame: pd.DataFrame, column: str, prefix: str | None) -> None:
    """Give rows without an id the prefix and their number, where the user asks for it."""
    if prefix is not None:
        made = pd.Series(prefix + frame.index.astype("str"), index=frame.index)
        frame[column] = frame[column].fillna(made)


def _sort_out_ids(frame: pd.DataFrame, shapes: gpd.GeoSeries | None, ledger: Ledger) -> None:
    """Hold rows without id and rows that share one; reject a row that is there already."""
    key = ledger.table.key
    ledger.put_aside(frame[key].isna(), "held", "id-missing", f"no `{key}`")
    whole = pd.DataFrame(frame)
    if shapes is not None:
        whole = whole.assign(_shape=shapes.to_wkb())
    again = whole.duplicated(keep="first") & frame[key].notna()
    ledger.put_aside(
        again,
        "rejected",
        "row-repeated",
        "the same row, in all that is brought in, stands further up",
    )
    left = ledger.outcome == "accepted"
    shared = frame[key].where(left).duplicated(keep=False) & left & frame[key].notna()
    ledger.put_aside(shared, "held", "id-repeated", "this id stands at rows that differ")


def _clear_out_of_range(frame: pd.DataFrame, ledger: Ledger) -> None:
    """Blank what a column does not allow; a reading's impossible height rejects the reading."""
    for column in ledger.table.columns:
        if not column.limited:
            continue
        values = frame[column.name]
        bad = column.outside(values)
        if not bad.any():
            continue
        ledger.notes.append(
            findings(
                "value-out-of-range", table=ledger.table.name, keys=frame.index[bad],
                column=column.name, values=fill("{v}", v=values[bad].to_numpy(dtype=float)),
                messages=f"{column.limits_told}; left blank",
            )
        )  # fmt: skip
        if column.name == "outlet_height_in":
            ledger.put_aside(
                bad, "rejected", "height-implausible",
                f"no outlet stands there; {column.limits_told}",
            )  # fmt: skip
        frame.loc[bad, column.name] = np.nan


def _join_areas(accepted: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Polygons of one area id as one area."""
    joined = accepted.dissolve(by="area_id", as_index=False, aggfunc="first", sort=True)
    shapes, _, _ = read_shapes(joined.geometry, AREAS, where="areas")
    return gpd.GeoDataFrame(AREAS.conform(joined.set_geometry(shapes)))


def take(
    text: str,
    kind: str,
    words: IntakeWords,
    *,
    today: dt.date,
    known: pd.Index[str] | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> Intake:
    """
    Read a source as one kind of table.

    Parameters
    ----------
    text
        Path of the source.
    kind
        A key of `TABLES`.
    words
        What the user says about it.
    today
        Dates after it lie in the future.
    known
        Ids of the hydrants in the register, for readings.
    tell
        Told each stage of the work.

    Returns
    -------
    intake
        See `Intake`.

    Raises
    ------
    HydrantGISError
        The source cannot be used: unreadable, no CRS, no unit, no id field.
    """
    table = TABLES[kind]
    source = sources.open_source(text)
    layer = source.layer(words.layer)
    where = source.name if len(source.layers) == 1 else f"{source.name}, layer {layer.name}"
    tell(f"reading {layer.rows:,} rows of {where}")
    fields = field_map(layer.fields, table, words.fields, where=where)
    rows = sources.read_rows(source, layer)
    ledger = Ledger(table, rows.index)
    _need_known_columns(words, table)
    _need_id_field(fields, table, words, layer, where)
    shapes, crs, crs_from = _frame_and_shapes(rows, table, layer, words, ledger, where)
    frame, notes = read_cells(rows, table, fields, words, today=today, needed=_NEEDED.get(kind, ()))
    ledger.notes.append(notes)
    if source.driver == "ESRI Shapefile":
        _blank_table_zeros(frame, ledger)
    _number_rows(frame, "hydrant_id" if kind == "readings" else table.key, words.number_rows)
    _clear_out_of_range(frame, ledger)
    if kind == "readings":
        settle_readings(frame, ledger, known, today)
    elif kind == "areas":
        ledger.put_aside(frame["area_id"].isna(), "held", "id-missing", "no `area_id`")
        if shapes is not None:
            ledger.put_aside(shapes.isna(), "held", "no-location", message=None)
    else:
        if kind == "shots":
            settle_shots(frame, ledger)
        _sort_out_ids(frame, shapes, ledger)
    everything = pd.DataFrame(frame)
    if shapes is not None:
        everything = gpd.GeoDataFrame(everything, geometry=shapes, crs=crs)
    good = ledger.outcome == "accepted"
    accepted = table.conform(everything[good])
    if kind == "areas" and len(accepted):
        accepted = _join_areas(gpd.GeoDataFrame(accepted))
    unused = [
        n
        for n in layer.fields
        if n not in fields.values()
        and n not in (sources.point_fields(list(layer.fields)) if source.is_csv else ())
    ]
    if unused:
        ledger.notes.append(
            findings(
                "field-unused", table=table.name, keys=["(all)"], values=[some(unused, 40)],
                messages=f"{len(unused)} fields of the source were not brought in",
            )
        )  # fmt: skip
    named = frame["hydrant_id" if kind == "readings" else table.key]
    all_notes = _key_by_id(join_findings(*ledger.notes), named)
    counts = ledger.outcome.value_counts()
    count = Count(
        rows=len(rows),
        accepted=int(counts.get("accepted", 0)),
        held=int(counts.get("held", 0)),
        rejected=int(counts.get("rejected", 0)),
    )
    digest = sources.sha256(source.path)
    said, mapped = words.as_json(), json.dumps(fields, ensure_ascii=False)
    # the count too: the same file says more once the hydrants that it names are known
    identity = hashlib.sha256(
        "\n".join((digest, kind, layer.name, said, mapped, str(count))).encode()
    )
    import_id = identity.hexdigest()[:16]
    record: dict[str, object] = {
        "import_id": import_id, "as_kind": kind, "source": source.name, "layer": layer.name,
        "sha256": digest, "source_rows": count.rows, "accepted": count.accepted,
        "held": count.held, "rejected": count.rejected, "crs": short(crs) if crs else None,
        "crs_from": crs_from, "fields": mapped, "options": said, "version": __version__,
    }  # fmt: skip
    exceptions = _exceptions(rows, frame, shapes, ledger, import_id)
    return Intake(kind, accepted, exceptions, all_notes, count, crs, record)


def _need_known_columns(words: IntakeWords, table: Table) -> None:
    """Refuse units, words and constants for columns that there are not."""
    for told in (words.units, words.meanings, words.constants):
        unknown = [name for name in told if name not in table.names]
        if unknown:
            raise SourceError(
                f"`{unknown[0]}` is no column of {table.name}",
                accepted=", ".join(table.names),
                do="name the canonical column",
            )


def _need_id_field(
    fields: dict[str, str], table: Table, words: IntakeWords, layer: Layer, where: str
) -> None:
    key = "hydrant_id" if table is READINGS else table.key
    if key in fields or words.number_rows is not None:
        return
    likely = [m for m in suggest(layer.fields, table) if m.column == key]
    hint = f"`{likely[0].field}` {likely[0].reason}" if likely else "none looks like one"
    raise SourceError(
        f"no field of the source is known to hold `{key}`",
        where=where,
        found=f"{some(list(layer.fields), 30)}; {hint}",
        do=f"say --field {key}=FIELD, or --number-rows PREFIX to make ids from row numbers",
    )


def _key_by_id(notes: pd.DataFrame, ids: pd.Series) -> pd.DataFrame:
    """Findings keyed by the row's id and number, or by its number where it has no id."""
    row = pd.to_numeric(notes["key"], errors="coerce")  # `(all)` is no row
    names = ids.reindex(row).set_axis(notes.index).astype("str")
    number = "row " + notes["key"]
    told = number.where(names.isna(), names + " (" + number + ")")
    return notes.assign(key=notes["key"].where(notes["key"].str.startswith("("), told))


def _exceptions(
    rows: pd.DataFrame,
    frame: pd.DataFrame,
    shapes: gpd.GeoSeries | None,
    ledger: Ledger,
    import_id: str,
) -> pd.DataFrame:
    aside = ledger.outcome != "accepted"
    codes = ledger.code[aside]
    table = pd.DataFrame(
        {
            "import_id": import_id,
            "outcome": ledger.outcome[aside],
            "source_row": frame.index[aside],
            "code": codes,
            "severity": codes.map({code: kind.severity.value for code, kind in CODES.items()}),
            "table": ledger.table.name,
            "key": frame.loc[aside, "hydrant_id" if ledger.table is READINGS else ledger.table.key],
            "message": codes.map({code: f"{k.meaning}; {k.do}" for code, k in CODES.items()}),
            "row_json": sources.row_as_json(rows[aside]),
        },
        index=frame.index[aside],
    )
    geometry = (
        gpd.GeoSeries(index=table.index, dtype="geometry")
        if shapes is None
        else gpd.GeoSeries(
            np.asarray(shapes.array, dtype=object)[aside.to_numpy()], index=table.index
        ).representative_point()
    )
    return EXCEPTIONS.conform(gpd.GeoDataFrame(table, geometry=geometry))
