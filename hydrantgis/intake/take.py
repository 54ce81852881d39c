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
import pyarrow as pa
import pyarrow.compute as pc

from hydrantgis import __version__
from hydrantgis.ground.errors import some
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.table import Kind
from hydrantgis.ground.tables import AREAS, INTAKE_TABLES
from hydrantgis.ground.text import fill
from hydrantgis.intake import source as sources
from hydrantgis.intake.aside import exceptions_of, keyed_by_id
from hydrantgis.intake.cells import read_cells
from hydrantgis.intake.crs import short
from hydrantgis.intake.fields import fields_for
from hydrantgis.intake.ids import note_other_ids, sort_out_ids
from hydrantgis.intake.ledger import Count, Ledger
from hydrantgis.intake.location import settle_shapes
from hydrantgis.intake.osm import HYDRANTS_LAYER
from hydrantgis.intake.prepare import NEEDED, PAGE_LIMITS, Z_FIELD, Prepared, not_tagged, prepare
from hydrantgis.intake.shapes import read_shapes
from hydrantgis.intake.surveys import settle_readings, settle_shots
from hydrantgis.intake.visits import hold_elsewhere
from hydrantgis.intake.whereabouts import round_a_town
from hydrantgis.intake.words import JOIN, IntakeWords

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    import pyproj
    import shapely

    from hydrantgis.intake.layers import Source

_GARBLED = "\ufffd|\u00c3[\u0080-\u00bf\u0192\u2018-\u203a]|\u00e2\u20ac"
"""What UTF-8 looks like, read as something else; and the mark for a letter that was lost."""


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
    held
        The canonical rows that wait for someone to decide.
    exceptions
        The `exceptions` table: rows that were not accepted.
    findings
        What was noticed.
    crs
        Of the accepted shapes; None for a table without any.
    record
        A row of the `imports` table, without the time.
    foot
        Which of the two feet the CRS is in, and how far away the points would lie in the other.
    """

    kind: str
    accepted: pd.DataFrame
    held: pd.DataFrame
    exceptions: pd.DataFrame
    findings: pd.DataFrame
    count: Count
    crs: pyproj.CRS | None
    record: dict[str, object]
    foot: str | None = None


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


def _join_areas(accepted: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    """Polygons of one area id as one area; other tables as they are."""
    if ledger.table is not AREAS or not len(accepted):
        return accepted
    areas = gpd.GeoDataFrame(accepted)
    joined = areas.dissolve(by="area_id", as_index=False, aggfunc="first", sort=True)
    shapes, _, _ = read_shapes(joined.geometry, AREAS, where="areas")
    if len(joined) < len(areas):
        ledger.notes.append(
            findings(
                "areas-joined", table=AREAS.name, keys=["(all)"],
                messages=f"{len(areas):,} polygons became {len(joined):,} areas, by their ids",
            )
        )  # fmt: skip
    return AREAS.conform(joined.set_geometry(shapes))


def take(
    text: str,
    kind: str,
    words: IntakeWords,
    *,
    today: dt.date,
    stands: gpd.GeoDataFrame | None = None,
    service: shapely.Geometry | None = None,
    allow_remote: bool = False,
    tell: Callable[[str], None] = lambda _: None,
) -> Intake:
    """
    Read a source as one kind of table.

    Parameters
    ----------
    text
        Path or address of the source.
    kind
        A key of `INTAKE_TABLES`.
    words
        What the user says about it.
    today
        Dates after it lie in the future.
    stands
        The `hydrants` table of the register, for surveys; None where there is none.
    service
        Where the utility's hydrants are, in degrees; None where that is not known yet.
    allow_remote
        Whether a source on the web may be fetched.
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
    table = INTAKE_TABLES[kind]
    with sources.opened(
        text,
        encoding=words.encoding,
        header_row=words.header_row or 1,
        order=words.order,
        decimal=words.decimal,
        allow_remote=allow_remote,
    ) as source:
        layer = source.layer(words.layer or _usual_layer(source, kind))
        where = source.name if len(source.layers) == 1 else f"{source.name}, layer {layer.name}"
        tell(f"reading {layer.rows:,} rows of {where}")
        ready = prepare(source, layer, words, table=kind, where=where)
        digest = ready.sha256 or sources.sha256(source)
    ledger = Ledger(table, ready.rows.index)
    ledger.notes.append(ready.notes)
    fields = fields_for(ready, table, words, where)
    ground = round_a_town(words.near) if service is None else service
    shapes, crs, crs_from = settle_shapes(ready, table, words, ledger, where, ground)
    frame = _settle_cells(ready, fields, words, ledger, today)
    if source.driver == "ESRI Shapefile":
        _blank_table_zeros(frame, ledger)
    _settle_rows(frame, shapes, words, ledger, stands, today)
    if kind == "readings" and stands is not None:
        hold_elsewhere(frame["hydrant_id"], ready.shapes, stands, words.crs, ledger, where)
    if kind not in ("readings", "shots"):
        note_other_ids(ready.rows, fields.get(table.key), ledger)
    _note_rest(ready, fields, words, ledger)
    count = ledger.count()
    told, mapped = words.as_json(), json.dumps(fields, ensure_ascii=False)
    # the count too: the same file says more once the hydrants that it names are known
    identity = hashlib.sha256(
        "\n".join((digest, kind, layer.name, told, mapped, str(count))).encode()
    )
    import_id = identity.hexdigest()[:16]
    record: dict[str, object] = {
        "import_id": import_id, "as_kind": kind, "source": source.name, "layer": layer.name,
        "sha256": digest, "source_rows": count.rows, "accepted": count.accepted,
        "held": count.held, "rejected": count.rejected, "crs": short(crs) if crs else None,
        "crs_from": crs_from, "fields": mapped, "options": told, "version": __version__,
    }  # fmt: skip
    return Intake(
        kind,
        _join_areas(_rows(frame, shapes, crs, ledger, "accepted"), ledger),
        _rows(frame, shapes, crs, ledger, "held"),
        exceptions_of(ready.rows, frame, shapes, ledger, import_id),
        keyed_by_id(join_findings(*ledger.notes), frame[ledger.id_column]),
        count,
        crs,
        record,
        ledger.foot,
    )


def _usual_layer(source: Source, kind: str) -> str | None:
    """Of an OSM extract hydrants are read from the one layer that holds them."""
    return HYDRANTS_LAYER if source.driver == "OSM" and kind == "hydrants" else None


def _settle_cells(
    ready: Prepared,
    fields: dict[str, str],
    words: IntakeWords,
    ledger: Ledger,
    today: dt.date,
) -> pd.DataFrame:
    """The canonical rows, as far as each cell goes."""
    kind = ledger.table.name
    frame, notes = read_cells(
        ready.cells, ledger.table, fields, words, today=today, needed=NEEDED.get(kind, ())
    )
    ledger.notes.append(notes)
    if kind == "hydrants":
        ledger.put_aside(
            not_tagged(ready.cells), "rejected", "not-a-hydrant", "its tags say that it is none"
        )
    _number_rows(frame, ledger.id_column, words.number_rows)
    _clear_out_of_range(frame, ledger)
    _note_garbled(frame, ledger)
    return frame


def _settle_rows(
    frame: pd.DataFrame,
    shapes: gpd.GeoSeries | None,
    words: IntakeWords,
    ledger: Ledger,
    stands: gpd.GeoDataFrame | None,
    today: dt.date,
) -> None:
    """What becomes of each row."""
    kind = ledger.table.name
    known = None if stands is None else stands["hydrant_id"]
    if kind == "readings":
        settle_readings(frame, ledger, words, known, today)
    elif kind in ("areas", "works"):
        key = ledger.table.key
        ledger.put_aside(frame[key].isna(), "held", "id-missing", f"no `{key}`")
        if kind == "works":
            unknown = frame["change_in"].isna()
            ledger.put_aside(unknown, "held", "value-missing", "no change of grade")
        if shapes is not None:
            ledger.put_aside(shapes.isna(), "held", "no-location", message=None)
    else:
        if kind == "shots":
            settle_shots(frame, ledger, words, known, today, None if shapes is None else shapes.crs)
        sort_out_ids(
            frame, shapes, ledger,
            placeholders=words.placeholders, same_place_ft=words.same_place_ft,
        )  # fmt: skip


def _rows(
    frame: pd.DataFrame,
    shapes: gpd.GeoSeries | None,
    crs: pyproj.CRS | None,
    ledger: Ledger,
    outcome: str,
) -> pd.DataFrame:
    """The canonical rows of which that became."""
    which = ledger.outcome == outcome
    rows = pd.DataFrame(frame[which])
    if shapes is not None:
        rows = gpd.GeoDataFrame(rows, geometry=gpd.GeoSeries(shapes[which]), crs=crs)
    return ledger.table.conform(rows)


def _note_garbled(frame: pd.DataFrame, ledger: Ledger) -> None:
    """Tell text that was read in another encoding than it was written in."""
    for column in ledger.table.columns:
        if column.kind is not Kind.TEXT or column.allowed:
            continue
        text = frame[column.name]
        letters = pa.array(text, pa.string(), from_pandas=True)
        if pc.all(pc.string_is_ascii(letters)).as_py() is not False:
            continue  # as nearly always, and ten times as fast to tell
        bad = text.str.contains(_GARBLED, regex=True, na=False)
        ledger.notes.append(
            findings(
                "text-garbled", table=ledger.table.name, keys=frame.index[bad], column=column.name,
                values=text[bad],
            )
        )  # fmt: skip


def _note_rest(ready: Prepared, fields: dict[str, str], words: IntakeWords, ledger: Ledger) -> None:
    """Tell what of the source was not brought in, and whether it may be cut off."""
    kind = ledger.table.name
    if len(ready.rows) in PAGE_LIMITS:
        ledger.notes.append(findings("page-limit", table=kind, keys=["(all)"]))
    if Z_FIELD in ready.cells and Z_FIELD not in fields.values():
        many = int(ready.cells[Z_FIELD].notna().sum())
        ledger.notes.append(
            findings(
                "z-left-out", table=kind, keys=["(all)"], column="geometry",
                messages=f"{many:,} shapes have a Z of unknown meaning; it was left out",
            )
        )  # fmt: skip
    used = {part for name in fields.values() for part in (name, *name.split(JOIN))}
    used |= {*ready.place_fields, *words.unit_fields.values()}
    unused = [str(name) for name in ready.rows.columns if name not in used]
    if unused:
        ledger.notes.append(
            findings(
                "field-unused", table=kind, keys=["(all)"], values=[some(unused, 40)],
                messages=f"not brought in: {some(unused, 8)}",
            )
        )  # fmt: skip
