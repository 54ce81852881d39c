"""
Which field of a source is which canonical column: by name, with a confidence and a reason.

Names are held against a list of the trade's usual ones, also cut to the ten letters that a
shapefile leaves of them, and then by likeness. Only a match sure enough is used unasked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rapidfuzz import fuzz, process

from hydrantgis.ground.errors import SourceError, some
from hydrantgis.ground.units import LengthUnit

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from hydrantgis.ground.table import Table

SURE = 0.9
"""A match of at least this confidence is used unasked."""
_SHAPEFILE_LETTERS = 10
_LEAST_LIKENESS = 80

NAMES: dict[str, tuple[str, ...]] = {
    "hydrant_id": (
        "hydrant_id", "hydrant", "hydrant_no", "hydrant_number", "hyd_no", "hyd_id", "hydid",
        "hydrantid", "hydrant_num", "facilityid", "facility_id", "asset_id", "assetid", "ref",
    ),
    "address": ("address", "street", "location", "hydrant_location", "addr", "loc"),
    "family": ("family", "manufacturer", "maker", "make", "model", "hydrant_manf", "manuf", "mfr"),
    "barrel": ("barrel", "barrel_type", "style", "hydrant_type", "pillar_type", "type"),
    "status": ("status", "lifecyclestatus", "lifecycle_status", "life_cycle"),
    "owner": ("owner", "ownedby", "owned_by", "hydrant_owner"),
    "hose_outlet_in": ("hose_outlet", "hose_dia", "hose_size", "hose_diameter"),
    "pumper_outlet_in": ("pumper_outlet", "pumper_dia", "steamer_size", "steamer_dia"),
    "main_valve_in": ("main_valve", "valve_dia", "mvo", "valve_opening"),
    "bury_ft": ("bury", "bury_depth", "depth_of_bury", "burydepth", "bury_length"),
    "installed_extension_in": ("installed_extension", "extension", "ext_in", "ext_length"),
    "install_date": (
        "install_date", "installdate", "installed", "date_installed", "install", "instdate",
    ),
    "flow_gpm": ("flow_gpm", "gpm", "hydrant_gpm", "flow", "flow_at_20", "fire_flow"),
    "note": ("note", "notes", "comment", "comments", "remarks"),
    "reading_date": ("reading_date", "date", "measured_on", "survey_date", "read_on", "gps_date"),
    "method": ("method", "how", "measured_by", "instrument"),
    "measured_to": ("measured_to", "outlet", "reference_point"),
    "measured_from": ("measured_from", "from", "datum_point"),
    "outlet_height_in": (
        "outlet_height", "height", "nozzle_height", "height_above_ground", "hgt",
        "height_of_hydrant", "outlet_hgt",
    ),
    "outlet_elev_ft": ("outlet_elev", "outlet_elevation", "nozzle_elev", "nozzle_elevation"),
    "grade_elev_ft": ("grade_elev", "grade_elevation", "ground_elev", "ground_elevation"),
    "vertical_datum": ("vertical_datum", "datum", "vdatum"),
    "flange_height_in": ("flange_height", "flange", "break_flange_height", "flange_hgt"),
    "curb_above_grade_in": ("curb_above_grade", "curb_height", "curb"),
    "curb_distance_in": ("curb_distance", "distance_to_curb"),
    "height_sd_in": ("height_sd", "uncertainty", "sd", "sigma"),
    "observer": ("observer", "crew", "inspector", "surveyed_by"),
    "shot_id": ("shot_id", "p", "point", "point_no", "point_number", "pt", "shot", "id", "name"),
    "elev_ft": ("elev", "z", "elevation", "height"),
    "elev_sd_ft": ("elev_sd", "sd", "vrms", "sigma_z"),
    "shot_date": ("shot_date", "date"),
    "description": ("description", "d", "desc", "code", "feature_code"),
    "area_id": (
        "area_id", "area", "district", "zone", "engine", "ward", "area_no", "district_id",
        "neighborhood", "neighbourhood", "subdivision",
    ),
    "area_title": ("area_title", "area_name", "name", "title", "district_name"),
    "valve_id": ("valve_id", "valve_no", "valve", "facilityid", "asset_id", "valveid"),
    "size_in": ("size", "diameter", "dia", "valve_size", "main_size", "pipe_size"),
    "valve_use": ("valve_use", "use", "valve_type", "function", "type"),
    "turns": ("turns", "no_turns", "turns_to_close"),
    "main_id": ("main_id", "main_no", "main", "pipe_id", "facilityid", "asset_id", "name"),
    "material": ("material", "mat", "pipe_material"),
    "facility_id": ("facility_id", "fac_no", "fac_id", "facilityid", "id"),
    "facility_class": ("facility_class", "class", "category", "type", "use"),
    "facility_title": ("facility_title", "name", "title", "facility_name"),
}  # fmt: skip
"""Canonical column and what the trade calls it."""

_UNIT_WORDS = {
    "in": LengthUnit.IN, "inch": LengthUnit.IN, "inches": LengthUnit.IN, "ft": LengthUnit.FT,
    "feet": LengthUnit.FT, "ftus": LengthUnit.FT_US, "mm": LengthUnit.MM, "cm": LengthUnit.CM,
    "m": LengthUnit.M,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Match:
    """A field, the column it seems to be, how sure that is, and why."""

    column: str
    field: str
    confidence: float
    reason: str


def plain(name: str) -> str:
    """
    A name in lower case, words joined by underscores.

    Examples
    --------
    >>> plain("HydrantID"), plain("Bury Depth"), plain("HEIGHT_IN")
    ('hydrant_id', 'bury_depth', 'height_in')
    """
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name.strip())
    return re.sub(r"[^0-9a-z]+", "_", spaced.lower()).strip("_")


def unit_in_name(name: str) -> tuple[str, LengthUnit | None]:
    """
    A field's plain name without the unit at its end, and that unit.

    Examples
    --------
    >>> unit_in_name("BURY_FT")
    ('bury', <LengthUnit.FT: 'ft'>)
    """
    words = plain(name).split("_")
    unit = _UNIT_WORDS.get(words[-1]) if len(words) > 1 else None
    return ("_".join(words[:-1]), unit) if unit else (plain(name), None)


def _score(field_name: str, column: str) -> tuple[float, str]:
    whole, (bare, _) = plain(field_name), unit_in_name(field_name)
    names = [plain(name) for name in NAMES.get(column, ())]
    cut = field_name.lower() if len(field_name) == _SHAPEFILE_LETTERS else None
    full = next(
        (n for n in (column, *names) if cut and len(n) > len(cut) and n.startswith(cut)), None
    )
    # a name of ten letters that ends in the middle of a word can only be a cut one
    if not (cut and cut.endswith("_")):
        if whole == column or bare == unit_in_name(column)[0]:
            return 1.0, "the name of the column"
        for place, name in enumerate(names):
            if name in (whole, bare) or name.replace("_", "") == whole.replace("_", ""):
                return 0.98 - 0.004 * place, f"`{name}` is a usual name for it"
    if full:
        return SURE, f"`{full}` cut to ten letters"
    best = process.extractOne(bare, names, scorer=fuzz.ratio)
    if best and best[1] >= _LEAST_LIKENESS:
        return 0.8 * best[1] / 100, f"looks like `{best[0]}`"
    return 0.0, ""


def suggest(fields: Iterable[str], table: Table) -> list[Match]:
    """
    The best field for each column of a table, each field used once.

    Returns
    -------
    matches
        By falling confidence; columns with no likely field are left out.

    Examples
    --------
    >>> from hydrantgis.ground.tables import HYDRANTS
    >>> [(m.column, m.field) for m in suggest(["HYD_NO", "BURY_FT", "SHAPE_LEN"], HYDRANTS)]
    [('bury_ft', 'BURY_FT'), ('hydrant_id', 'HYD_NO')]
    """
    scored = [
        Match(column.name, name, *_score(name, column.name))
        for column in table.columns
        for name in fields
    ]
    scored.sort(key=lambda m: (-m.confidence, m.column, m.field))
    taken_columns: set[str] = set()
    taken_fields: set[str] = set()
    result: list[Match] = []
    for match in scored:
        free = match.column not in taken_columns and match.field not in taken_fields
        if match.confidence > 0 and free:
            taken_columns.add(match.column)
            taken_fields.add(match.field)
            result.append(match)
    return result


def field_map(
    fields: Iterable[str], table: Table, said: Mapping[str, str], *, where: str
) -> dict[str, str]:
    """
    Column and field: what the user says, then what is sure.

    Raises
    ------
    SourceError
        The user names a column or a field that is not there.
    """
    names = list(fields)
    for column, name in said.items():
        if column not in table.names:
            raise SourceError(
                f"`{column}` is no column of {table.name}",
                accepted=", ".join(table.names),
                do="name the canonical column first: column=FIELD",
            )
        if name not in names:
            near = process.extractOne(name, names, scorer=fuzz.ratio, score_cutoff=60)
            hint = f"; did you mean `{near[0]}`?" if near else ""
            raise SourceError(
                f"there is no field `{name}`{hint}", where=where, accepted=some(names, 40)
            )
    rest = [name for name in names if name not in said.values()]
    sure = {m.column: m.field for m in suggest(rest, table) if m.confidence >= SURE}
    result = {**sure, **said}
    return {column: result[column] for column in table.names if column in result}
