"""
Job sheets as one PDF: a cover for each crew's day or area, then a sheet a hydrant, front and back.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import segno

from hydrantgis.deliver import sheetwords as w
from hydrantgis.deliver.heightscale import height_scale
from hydrantgis.deliver.inert import breakable
from hydrantgis.deliver.sheetmap import place_map, route_map, valve_map
from hydrantgis.deliver.typeset import typeset

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

    from hydrantgis.deliver.mapcanvas import Backdrop
    from hydrantgis.standards.fieldwork import Fieldwork
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.rules import HeightRule

_MAP_PT, _SMALL_MAP_PT = (158.0, 158.0), (128.0, 128.0)
_HEAD_ID = 20
"""So many letters of an id stand in the head of a sheet."""
_ROUTE_WIDE_PT, _ROUTE_TALL_PT = 310.0, (170.0, 330.0)
_COVER_PT, _STOP_PT, _LOGGED = 480.0, 18.0, 17
"""What a cover leaves for stops and map, a stop takes of it, and a log holds. [1/72 in]"""
QR_BORDER = 4
"""Modules of white round a code, as ISO/IEC 18004 asks for (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetBook:
    """
    What job sheets are made from.

    Attributes
    ----------
    title
        Of the season or list.
    rows
        One a sheet, in order: the columns of `hydrantgis.season.crewsheets.sheet_rows`, facts of
        the hydrant, `isolation` with `valve_size_in`, stand-ins, `height_basis`, `batch`.
    at_ft
        Where they are on the plane of the backdrop, shape (n, 2). [ft]
    lat_lon
        The same on WGS 84, shape (n, 2). [degrees]
    alternatives, notices, crew_days
        The tables of those names; empty where there is none.
    loads
        What goes on the truck, by `batch`.
    backdrop
        For the maps.
    depot_ft
        Where crews start; None where there is no season.
    rule, kits, default_kits, work, cautions
        What governs; what tells parts and torque where `kits` does not.
    moment, data_date
        UTC; of the newest reading.
    """

    title: str
    rows: pd.DataFrame
    at_ft: NDArray[np.float64]
    lat_lon: NDArray[np.float64]
    alternatives: pd.DataFrame
    notices: pd.DataFrame
    crew_days: pd.DataFrame
    loads: pd.DataFrame
    backdrop: Backdrop
    depot_ft: NDArray[np.float64] | None
    rule: HeightRule
    kits: KitCatalogue
    default_kits: KitCatalogue
    work: Fieldwork
    cautions: tuple[str, ...]
    moment: dt.datetime
    data_date: str


def code_text(hydrant_id: str, lat: float, lon: float) -> str:
    """
    What the code of a sheet says: the place as RFC 5870 writes it, else the hydrant's id.

    Parameters
    ----------
    hydrant_id
        The id.
    lat, lon
        On WGS 84; not finite where there is no place. [degrees]

    Examples
    --------
    >>> code_text("T-1", 41.5, -105.25), code_text("T-1", float("nan"), 0.0)
    ('geo:41.500000,-105.250000', 'T-1')
    """
    if np.isfinite(lat) and np.isfinite(lon):
        return f"geo:{lat:.6f},{lon:.6f}"
    return hydrant_id


def code_svg(text: str) -> str:
    """An ordinary QR code of the text, as SVG."""
    drawn = io.BytesIO()
    segno.make_qr(text, error="m").save(
        drawn, kind="svg", border=QR_BORDER, omitsize=True, xmldecl=False, light="#fff"
    )
    return drawn.getvalue().decode("utf-8")


def sheets_pdf(book: SheetBook) -> bytes:
    """
    The sheets as PDF.

    Parameters
    ----------
    book
        What they are made from.
    """
    rows = w.records(book.rows)
    tried = {
        str(name): w.records(frame)
        for name, frame in book.alternatives.groupby("hydrant_id", sort=False)
    }
    sheets = [_sheet(book, n, row, tried.get(str(row["hydrant_id"]), [])) for n, row in
              enumerate(rows)]  # fmt: skip
    batch = book.rows["batch"].to_numpy()
    batches = []
    for one in dict.fromkeys(batch.tolist()):
        mine = np.flatnonzero(batch == one)
        cover = _cover(book, int(one), [rows[n] for n in mine], mine)
        batches.append({"cover": cover, "sheets": [sheets[n] for n in mine]})
    data = {
        "title": breakable(book.title), "sheets": len(rows), "batches": batches,
        "caution": book.cautions[0], "cautions": list(book.cautions), "duplex": True,
    }  # fmt: skip
    return typeset("paper", "sheets", data=data, moment=book.moment)


def _sheet(book: SheetBook, n: int, row: dict[str, Any], tried: list[Any]) -> dict[str, Any]:
    remedy, (lat, lon) = str(row["remedy"]), book.lat_lon[n]
    has_place = bool(np.isfinite([lat, lon]).all())
    own_valve = None if pd.isna(row["valve_id"]) else str(row["valve_id"])
    parts_head, parts, parts_source = w.parts(row, book.kits, book.default_kits)
    torque, torque_source = w.torque(row, book.kits, book.default_kits)
    steps, steps_source = w.steps(row, book.work)
    record_head, record_hint, record = w.record(row, book.rule)
    hydrant_id = str(row["hydrant_id"])
    size = _SMALL_MAP_PT if remedy in ("measure", "regrade") else _MAP_PT
    valve = w.valve(row) if remedy not in ("measure", "regrade") else None
    address = w.words_of(row["address"], 70, "no address on record")
    why, note = w.words_of(_why(row), 330), w.words_of(row["note"], 200)
    mind = w.words_of(row["mind"], 330)
    sheet = {
        "id": w.words_of(hydrant_id, _HEAD_ID), "number": n + 1,
        "kind": "measure" if remedy in ("measure", "regrade") else "work",
        "mark": f"{w.words_of(hydrant_id, 40)}, {w.VERBS[remedy].lower()}, {address}",
        "verb": w.VERBS[remedy].upper(), "address": address, "area": _area(row),
        "when": _when(row, lat, lon, has_place=has_place),
        "map_size": size[0],
        "qr": code_svg(code_text(hydrant_id, lat, lon)),
        "qr_says": "scan for its place" if has_place else "scan for its number",
        "figures": w.figures(row, book.rule), "valve": valve,
        "place_map": place_map(book.backdrop, book.at_ft[n], hydrant_id, size),
        "valve_map": valve_map(book.backdrop, book.at_ft[n], hydrant_id, own_valve, size),
        "beside": w.beside(row, book.rule),
        "why": why, "note": note, "mind": mind,
        "parts_head": parts_head, "parts": parts, "parts_source": parts_source,
        "torque": torque, "torque_source": torque_source,
        "alternatives": w.alternatives(tried), "scale": height_scale(row, book.rule),
        "cautions": [line.text for line in book.work.cautions_of(remedy)],
        "steps": steps, "steps_source": steps_source,
        "record_head": record_head, "record_hint": record_hint, "record": record,
        "foot": f"{breakable(book.title, 50)} · rule {w.words_of(book.rule.rule_id, 40)} · "
        f"readings to {book.data_date}",
    }  # fmt: skip
    return {**sheet, "tight": w.is_tight(sheet), "long": w.is_long(steps)}


def _why(row: dict[str, Any]) -> str:
    """The sentence of the reason, without its code."""
    code, _, told = str(row["remedy_reason"]).partition(": ")
    return told or code


def _area(row: dict[str, Any]) -> str:
    area, title = w.words_of(row["area_id"], 24), w.words_of(row["area_title"], 50)
    family = w.words_of(row["family"], 28)
    told = f"Area {area} {title}".strip() if area else "in no area"
    if family:
        told += f" · {family}"
    year = w.day_of(row["install_date"])[:4]
    return f"{told} · installed {year}" if year else told


def _when(row: dict[str, Any], lat: float, lon: float, *, has_place: bool) -> list[list[str]]:
    told = []
    if not pd.isna(row["work_date"]):
        told += [
            ["Day", w.weekday(row["work_date"])],
            ["Crew, stop", f"{w.words_of(row['crew_id'], 24)}, {row['stop']:g}"],
            ["Out, back", f"{row['out_from']}, about {row['back_by']}"],
        ]
    else:
        told += [["Day", "____________"], ["Crew", "____________"]]
    if row["remedy"] not in ("measure", "regrade"):
        told.append(["Stand-in", w.stand_in(row)])
    if len(str(row["hydrant_id"])) > _HEAD_ID:  # the head cuts it, and two cut ones look alike
        told.append(["Number", w.words_of(row["hydrant_id"], 80)])
    told.append(["Place", f"{lat:.5f}, {lon:.5f}" if has_place else "not known"])
    barrel = [
        f"{label} {w.number(row[name])} in"
        for label, name in (("pumper", "pumper_outlet_in"), ("valve", "main_valve_in"))
        if not pd.isna(row[name])
    ]
    if barrel:
        told.append(["Hydrant", ", ".join(barrel)])
    if row["status"] == "out_of_service":
        told.append(["Status", "OUT OF SERVICE"])
    return told


def _cover(
    book: SheetBook, batch: int, rows: list[dict[str, Any]], places: NDArray[np.intp]
) -> dict[str, Any]:
    """The cover of a crew's day, or of an area."""
    first = rows[0]
    has_day = not pd.isna(first["work_date"])
    loads = [
        [f"{row['quantity']:g} {row['unit']}".strip(), _load_words(row)]
        for row in w.records(book.loads[book.loads["batch"] == batch])
    ]
    area = w.words_of(first["area_id"], 24)
    name = w.words_of(first["area_title"], 50)
    titles = [("", 0), ("Hydrant", 0), ("Where", 2.0), ("Job", 1.1), ("Kit", 1.0)]
    if has_day:
        titles = [("Stop", 0), *titles[1:], ("Out to back", 0), ("Way there", 0)]
    stops = [
        [
            f"{row['stop']:g}" if has_day else str(n), w.words_of(row["hydrant_id"], 20),
            w.words_of(row["address"], 60, "no address on record"),
            w.VERBS[row["remedy"]], _kit_words(row),
            *([f"{row['out_from']} to {row['back_by']}",
               f"{row['drive_ft'] / 5280:.1f} mi"] if has_day else []),
        ]
        for n, row in enumerate(rows, 1)
    ]  # fmt: skip
    return {
        "mark": f"{w.weekday(first['work_date'])}, crew {w.words_of(first['crew_id'], 24)}"
        if has_day else f"Area {area} {name}".strip() if area else "In no area",
        "kind": "CREW DAY" if has_day else "AREA LIST",
        "title": w.weekday(first["work_date"]) if has_day
        else (f"{area} {name}".strip() or "In no area"),
        "under": f"Crew {w.words_of(first['crew_id'], 24)} · {breakable(book.title, 60)}"
        if has_day else breakable(book.title, 60),
        "facts": _day_facts(book, first, rows) if has_day
        else [["Jobs", str(len(rows))], ["Day", "____________"], ["Crew", "____________"]],
        "columns": [{"title": t, "wide": wide} for t, wide in titles], "stops": stops,
        "map": route_map(
            book.backdrop, book.at_ft[places], book.depot_ft if has_day else None,
            _route_pt(len(rows)),
        ),
        "loads": loads, "notices": _tell(book, first, rows) if has_day else [],
        "log": has_day or len(rows) <= _LOGGED,
        "foot": f"{breakable(book.title, 50)} · rule {w.words_of(book.rule.rule_id, 40)} · "
        f"readings to {book.data_date}"
        + (" · the way on the map is a straight line from stop to stop" if has_day else ""),
    }  # fmt: skip


def _route_pt(stops: int) -> tuple[float, float]:
    """As much as the stops leave, or a page further as much as is good."""
    least, most = _ROUTE_TALL_PT
    left = _COVER_PT - stops * _STOP_PT
    return _ROUTE_WIDE_PT, min(left, most) if left >= least else most


def _load_words(row: dict[str, Any]) -> str:
    item = w.words_of(row["item"], 80)
    return {"kit": f"kit {item}", "hydrant": f"hydrant, {item}"}.get(str(row["kind"]), item)


def _kit_words(row: dict[str, Any]) -> str:
    if pd.isna(row["kit_id"]):
        return "new hydrant" if row["remedy"] == "replace" else ""
    kit_from = "" if pd.isna(row["kit_from"]) else str(row["kit_from"])
    told = w.words_of(row["kit_id"], 24)
    return told + {"shelf": ", off the shelf", "order": ", on order"}.get(kit_from, "")


def _day_facts(
    book: SheetBook, first: dict[str, Any], rows: list[dict[str, Any]]
) -> list[list[str]]:
    days = book.crew_days
    mine = days[(days["work_date"] == first["work_date"]) & (days["crew_id"] == first["crew_id"])]
    areas = ", ".join(dict.fromkeys(w.words_of(row["area_id"], 24, "none") for row in rows))
    if not len(mine):
        return [["Jobs", str(len(rows))], ["Areas", areas]]
    day = mine.iloc[0]
    some = "" if day["jobs"] == len(rows) else f" of the {day['jobs']} of that day"
    return [
        ["Jobs", f"{len(rows)}{some}"], ["Areas", areas], ["At work", f"{day['work_hours']:.1f} h"],
        ["Set up", f"{day['mobilisation_hours']:.1f} h"],
        ["Driving", f"{day['drive_hours']:.1f} h, {day['drive_ft'] / 5280:.1f} mi"],
        ["The day has", f"{day['hours_there']:g} h"], ["Back at depot", str(day["back_at"])],
    ]  # fmt: skip


def _tell(book: SheetBook, first: dict[str, Any], rows: list[dict[str, Any]]) -> list[str]:
    """Who has to be told of the day's hydrants, and by when."""
    ids = {row["hydrant_id"] for row in rows}
    mine = book.notices[book.notices["hydrant_id"].isin(ids)]
    mine = mine[mine["out_on"] == first["work_date"]]
    told = [
        f"{who[0].upper()}{who[1:]}, by {w.weekday(day)}: {w.counted(len(some), 'hydrant')}"
        for (who, day), some in mine.groupby(["told_to", "tell_by"], sort=False)
    ]
    return [
        *told, "Fire department: out, as each goes out", "Fire department: back, as each is back",
    ]  # fmt: skip
