"""
One intake: a source's rows become canonical rows, and every row is accounted for.

Rows in = accepted + held + rejected. A held row waits for someone to decide (no id, one id for two
places, a hydrant that is not known); a rejected row cannot be used (no height, the same row again).
Neither disappears: both stand among the exceptions, as the source had them, with the reason.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis import __version__
from hydrantgis.ground.errors import CountError, SourceError, UnitError, some
from hydrantgis.ground.findings import CODES, findings, join_findings, no_findings
from hydrantgis.ground.identity import content_ids
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
from hydrantgis.intake.cells import WORDS, read_cells
from hydrantgis.intake.crs import hold_against_area, resolve, short
from hydrantgis.intake.match import field_map, plain, suggest
from hydrantgis.intake.shapes import bounds_of, read_shapes

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    import pyproj

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.words import IntakeWords

TABLES: dict[str, Table] = {
    t.name: t for t in (HYDRANTS, AREAS, VALVES, MAINS, FACILITIES, READINGS, SHOTS)
}
"""What a source can be read as."""

SUSPICIOUS_IN = (6.0, 60.0)
"""Outlet heights outside this are kept and told: common practice, no source. [in]"""
DISAGREE_IN = 1.0
"""A height and the elevations beside it that differ by more than this are told. [in]"""
_LEAST_ELEV_FT = -1500.0
_NEEDED = {"readings": ("outlet_height_in", "outlet_elev_ft"), "shots": ("elev_ft",)}


@dataclass(frozen=True, slots=True)
class Count:
    """
    How many rows came in and what became of them.

    Raises
    ------
    CountError
        The sum does not hold; that is a fault of this program.

    Examples
    --------
    >>> print(Count(rows=10, accepted=8, held=1, rejected=1))
    10 rows in = 8 accepted + 1 held + 1 rejected
    """

    rows: int
    accepted: int
    held: int
    rejected: int

    def __post_init__(self) -> None:
        if self.rows != self.accepted + self.held + self.rejected:
            raise CountError(f"rows do not add up: {self}")

    def __str__(self) -> str:
        return (
            f"{self.rows:,} rows in = {self.accepted:,} accepted + {self.held:,} held + "
            f"{self.rejected:,} rejected"
        )


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


@dataclass(slots=True)
class _Ledger:
    """Who was put aside, why, and everything that was noticed."""

    table: Table
    index: pd.Index[int]
    outcome: pd.Series = field(init=False)
    code: pd.Series = field(init=False)
    notes: list[pd.DataFrame] = field(default_factory=lambda: [no_findings()])

    def __post_init__(self) -> None:
        self.outcome = pd.Series("accepted", index=self.index, dtype="str")
        self.code = pd.Series(None, index=self.index, dtype="str")

    def put_aside(self, rows: pd.Series, outcome: str, code: str, message: str | None) -> None:
        """Hold or reject the rows that are still accepted; a finding each, unless told before."""
        fresh = rows & (self.outcome == "accepted")
        if fresh.any():
            self.outcome[fresh] = outcome
            self.code[fresh] = code
            if message is None:
                return
            self.notes.append(
                findings(code, table=self.table.name, keys=self.index[fresh], messages=message)
            )


def _frame_and_shapes(
    rows: pd.DataFrame,
    table: Table,
    layer: sources.Layer,
    words: IntakeWords,
    ledger: _Ledger,
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
    outside = pd.Series(index=rows.index, data=hold_against_area(xy(centers), crs, where=where))
    ledger.put_aside(
        outside, "held", "outside-crs-area", f"the point lies where {short(crs)} is not used"
    )
    return shapes, crs, crs_from


def _number_rows(frame: pd.DataFrame, column: str, prefix: str | None) -> None:
    """Give rows without an id the prefix and their number, where the user asks for it."""
    if prefix is not None:
        made = pd.Series(prefix + frame.index.astype("str"), index=frame.index)
        frame[column] = frame[column].fillna(made)


def _sort_out_ids(frame: pd.DataFrame, shapes: gpd.GeoSeries | None, ledger: _Ledger) -> None:
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


def _clear_out_of_range(frame: pd.DataFrame, ledger: _Ledger) -> None:
    """Blank what a column does not allow; a reading's impossible height rejects the reading."""
    for column in ledger.table.columns:
        if column.least is None and column.most is None:
            continue
        low = -np.inf if column.least is None else column.least
        high = np.inf if column.most is None else column.most
        values = frame[column.name]
        bad = values.notna() & ~values.between(low, high)
        if not bad.any():
            continue
        ledger.notes.append(
            findings(
                "value-out-of-range", table=ledger.table.name, keys=frame.index[bad],
                column=column.name, values=fill("{v}", v=values[bad].to_numpy(dtype=float)),
                messages=f"allowed is {low:g} to {high:g} {column.unit or ''}; left blank".rstrip(),
            )
        )  # fmt: skip
        if column.name == "outlet_height_in":
            ledger.put_aside(
                bad, "rejected", "height-implausible",
                f"no outlet stands outside {low:g} to {high:g} in",
            )  # fmt: skip
        frame.loc[bad, column.name] = np.nan


def _readings(
    frame: pd.DataFrame, ledger: _Ledger, known: pd.Index[str] | None, today: dt.date
) -> None:
    """Readings need a known hydrant and a height; their id follows from what they say."""
    for name in ("outlet_elev_ft", "grade_elev_ft"):
        mark = frame[name].notna() & ((frame[name] <= _LEAST_ELEV_FT) | (frame[name] == 0))
        ledger.notes.append(
            findings(
                "sentinel-value", table="readings", keys=frame.index[mark], column=name,
                values=fill("{v}", v=frame[name][mark].to_numpy()),
                messages="0 or far below the sea: not an elevation; left blank",
            )
        )  # fmt: skip
        frame.loc[mark, name] = np.nan
    height, elev = frame["outlet_height_in"], frame["outlet_elev_ft"]
    told = join_findings(*ledger.notes)
    unread = told[(told["code"] == "value-unreadable") & (told["column"] == "outlet_height_in")]
    cell = pd.Series(frame.index.astype("str").isin(unread["key"]), index=frame.index)
    ledger.put_aside(cell & elev.isna(), "held", "value-unreadable", message=None)
    ledger.put_aside(frame["hydrant_id"].isna(), "held", "id-missing", "no `hydrant_id`")
    if known is not None:
        stranger = frame["hydrant_id"].notna() & ~frame["hydrant_id"].isin(known)
        ledger.put_aside(stranger, "held", "unknown-hydrant", "this hydrant is not in the register")
    ledger.put_aside(
        height.isna() & elev.isna(), "rejected", "no-height", "neither height nor elevation"
    )
    late = frame["reading_date"] > pd.Timestamp(today)
    ledger.put_aside(late, "held", "date-in-future", message=None)
    apart = (height - (elev - frame["grade_elev_ft"]) * 12.0).abs() > DISAGREE_IN
    ledger.notes.append(
        findings(
            "height-and-elevations-differ", table="readings", keys=frame.index[apart],
            column="outlet_height_in", values=fill("{v}", v=height[apart].to_numpy()),
        )
    )  # fmt: skip
    rare = height.notna() & ~height.between(*SUSPICIOUS_IN) & (ledger.outcome == "accepted")
    ledger.notes.append(
        findings(
            "height-suspicious", table="readings", keys=frame.index[rare],
            column="outlet_height_in", values=fill("{v}", v=height[rare].to_numpy()),
            messages="outlets rarely stand outside {:g} to {:g} in".format(*SUSPICIOUS_IN),
        )
    )  # fmt: skip
    for name, do in (
        ("measured_to", "--measured-to, for example pumper-centerline"),
        ("measured_from", "--measured-from, for example grade"),
        ("method", "--method, for example tape"),
    ):
        needed = height.notna() if name == "measured_from" else height.notna() | elev.notna()
        if frame.loc[needed, name].isna().any():
            raise UnitError(
                f"the readings do not say `{name}`",
                found=f"{int(frame.loc[needed, name].isna().sum()):,} rows without it",
                accepted=", ".join(READINGS[name].allowed),
                do=f"name the field with --field {name}=FIELD, or say it for all with {do}",
            )
    frame.loc[height.isna() & elev.notna(), "measured_from"] = "grade"
    _need_datum(frame, elev.notna() | frame["grade_elev_ft"].notna())
    frame["reading_id"] = content_ids(frame.drop(columns="reading_id"), "r")
    again = frame["reading_id"].duplicated(keep="first")
    ledger.put_aside(again, "rejected", "row-repeated", "the same reading stands further up")


def _need_datum(frame: pd.DataFrame, needed: pd.Series) -> None:
    missing = needed & frame["vertical_datum"].isna()
    if missing.any():
        raise UnitError(
            "there are elevations without a vertical datum",
            found=f"{int(missing.sum()):,} rows",
            accepted="its name, for example NAVD88",
            do="name the field with --field vertical_datum=FIELD, or say it for all with "
            "--vertical-datum NAME",
        )


def _shot_code(description: str) -> str:
    """What the first word of a survey's description stands for."""
    words = description.split(maxsplit=1)
    return WORDS["shot_code"].get(plain(words[0]), "other") if words else "other"


def _shots(frame: pd.DataFrame, ledger: _Ledger) -> None:
    """Shots need an elevation and a datum; the code is read from the description where needed."""
    elev = frame["elev_ft"]
    mark = elev.notna() & ((elev <= _LEAST_ELEV_FT) | (elev == 0))
    ledger.put_aside(
        mark, "rejected", "shot-implausible", "0 or far below the sea: not an elevation"
    )
    ledger.put_aside(elev.isna(), "rejected", "value-missing", "no elevation")
    _need_datum(frame, elev.notna())
    meaning = {text: _shot_code(text) for text in frame["description"].dropna().unique()}
    told = frame["description"].map(meaning).fillna("other").astype("str")
    frame["shot_code"] = frame["shot_code"].fillna(told)
    other = frame["shot_code"] == "other"
    if other.any():
        ledger.notes.append(
            findings(
                "shot-code-unknown", table="shots", keys=["(several)"], column="shot_code",
                values=[some(frame["description"][other].dropna().unique().tolist(), 5)],
                messages=f"{int(other.sum()):,} shots tell no code that is known; they are kept "
                "and not used as ground",
            )
        )  # fmt: skip


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
    ledger = _Ledger(table, rows.index)
    _need_known_columns(words, table)
    _need_id_field(fields, table, words, layer, where)
    shapes, crs, crs_from = _frame_and_shapes(rows, table, layer, words, ledger, where)
    frame, notes = read_cells(rows, table, fields, words, today=today, needed=_NEEDED.get(kind, ()))
    ledger.notes.append(notes)
    _number_rows(frame, "hydrant_id" if kind == "readings" else table.key, words.number_rows)
    _clear_out_of_range(frame, ledger)
    if kind == "readings":
        _readings(frame, ledger, known, today)
    elif kind == "areas":
        ledger.put_aside(frame["area_id"].isna(), "held", "id-missing", "no `area_id`")
        if shapes is not None:
            ledger.put_aside(shapes.isna(), "held", "no-location", message=None)
    else:
        if kind == "shots":
            _shots(frame, ledger)
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
    fields: dict[str, str], table: Table, words: IntakeWords, layer: sources.Layer, where: str
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
    ledger: _Ledger,
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
