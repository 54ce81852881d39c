"""
What fields are called, and how like that a name is.

The trade's usual names for each column, also in other languages and in the open data models.
Names are held against that list, also cut to the ten letters that a shapefile leaves of them, and
then by likeness.
"""

from __future__ import annotations

import re
import unicodedata

from rapidfuzz import fuzz, process

from hydrantgis.ground.units import LengthUnit

SURE = 0.9
"""A match of at least this confidence is used unasked."""
_SHAPEFILE_LETTERS = 10
_LEAST_LIKENESS = 80
_CUT_TWICE, _SAME_CONSONANTS = 0.5, 0.75

NAMES: dict[str, tuple[str, ...]] = {
    "hydrant_id": (
        "hydrant_id", "hydrant", "hydrant_no", "hydrant_number", "hyd_no", "hyd_id", "hydid",
        "hydrantid", "hydrant_num", "facilityid", "facility_id", "asset_id", "assetid", "ref",
        "hydrant_facility_id", "fire_hydrant_id", "hydrant_tag", "identifier", "id_hidrante",
        "numero_hidrante", "hidrante", "num_hydrant", "numero_hydrant", "id_hydrant", "no_borne",
        "hyd", "hydno", "hyd_num", "hyd_nbr", "hydrant_nbr", "fh_no", "fh_id", "fhid", "fh_num",
        "hydrant_tag_no", "tag_no", "hydrantennummer", "hydrant_nr", "hydrantnr",
        "brandkraan_nr", "idrante", "hidrante_id",
    ),
    "address": (
        "address", "street", "location", "hydrant_location", "addr", "loc", "addr_street",
        "street_address", "site_address", "street_name", "streetname", "direccion", "calle",
        "adresse", "rue", "strasse",
        "adres", "straat", "indirizzo", "endereco", "rua",
    ),
    "family": (
        "family", "manufacturer", "maker", "make", "model", "hydrant_manf", "manuf", "mfr", "mfgr",
        "mfg", "brand", "hydrant_model", "fabricante", "marca", "modelo", "fabricant", "marque",
        "modele", "hersteller", "fabrikant", "produttore",
    ),
    "barrel": (
        "barrel", "barrel_type", "style", "hydrant_type", "pillar_type", "type",
        "fire_hydrant_type",
        "firehydranttype", "tipo", "tipo_hidrante", "type_hydrant", "hydrantart", "bauart",
    ),
    "status": (
        "status", "lifecyclestatus", "lifecycle_status", "life_cycle", "hydrant_status",
        "oper_status", "estado", "etat", "statut", "zustand", "toestand", "stato", "situacao",
    ),
    "owner": (
        "owner", "ownedby", "owned_by", "hydrant_owner", "operator", "isoperatedby", "operated_by",
        "propietario", "proprietaire", "eigentuemer", "eigenaar", "proprietario",
    ),
    "hose_outlet_in": (
        "hose_outlet", "hose_dia", "hose_size", "hose_diameter", "nozzle_size", "hose_nozzle",
        "hoseconnectionsize",
    ),
    "pumper_outlet_in": (
        "pumper_outlet", "pumper_dia", "steamer_size", "steamer_dia", "pumper_size", "steamer",
        "pumper", "pumper_nozzle", "pumperconnectionsize",
    ),
    "main_valve_in": (
        "main_valve", "mvo", "valve_opening", "main_valve_opening", "valve_open",
    ),
    "bury_ft": (
        "bury", "bury_depth", "depth_of_bury", "burydepth", "bury_length", "depth_bury", "bury_dep",
        "profundidad", "profondeur", "einbautiefe", "tiefe", "diepte", "profondita", "profundidade",
    ),
    "installed_extension_in": (
        "installed_extension", "extension", "ext_in", "ext_length", "extension_length", "riser",
        "extension_kit",
    ),
    "install_date": (
        "install_date", "installdate", "installed", "date_installed", "install", "instdate",
        "installation_date", "date_inst", "start_date", "startdate", "in_service_date", "inst_dt",
        "fecha_instalacion", "date_installation", "date_pose", "einbaudatum", "baujahr",
        "datum_plaatsing", "data_instalacao", "data_installazione",
    ),
    "flow_gpm": (
        "flow_gpm", "gpm", "hydrant_gpm", "flow", "flow_at_20", "fire_flow", "flow_rate",
        "flowrate",
        "fire_hydrant_flow_capacity", "dischargeflowrate", "caudal", "debit", "durchfluss",
        "debiet", "portata", "vazao",
    ),
    "note": (
        "note", "notes", "comment", "comments", "remarks", "remark", "description", "status_remark",
        "observaciones", "nota", "remarque", "bemerkung", "opmerking", "osservazioni",
    ),
    "reading_date": (
        "reading_date", "date", "date_measured", "measured", "measurement_date", "measure_date",
        "inspection_date", "insp_date", "date_meas", "meas_date", "date_of_reading", "date_read",
        "field_date", "visit_date", "measured_on", "survey_date", "read_on", "gps_date"),
    "method": ("method", "how", "measured_by", "instrument"),
    "measured_to": ("measured_to", "outlet", "reference_point"),
    "measured_from": ("measured_from", "from", "datum_point"),
    "outlet_height_in": (
        "outlet_height", "height", "nozzle_height", "height_above_ground", "hgt",
        "height_of_hydrant", "outlet_hgt", "nozzle_ht", "nozz_ht", "noz_ht", "outlet_ht",
        "nozzle_hgt", "height_above_grade", "ht_above_grade", "hgt_above_grade", "pumper_height",
        "steamer_height", "altura", "hauteur", "hoehe", "hoogte", "altezza",
    ),
    "outlet_elev_ft": ("outlet_elev", "outlet_elevation", "nozzle_elev", "nozzle_elevation"),
    "grade_elev_ft": ("grade_elev", "grade_elevation", "ground_elev", "ground_elevation"),
    "vertical_datum": ("vertical_datum", "datum", "vdatum"),
    "flange_height_in": ("flange_height", "flange", "break_flange_height", "flange_hgt"),
    "flange_elev_ft": ("flange_elev", "flange_elevation"),
    "curb_elev_ft": ("curb_elev", "curb_elevation", "top_of_curb_elev"),
    "curb_above_grade_in": ("curb_above_grade", "curb_height", "curb"),
    "curb_distance_in": ("curb_distance", "distance_to_curb"),
    "height_sd_in": ("height_sd", "uncertainty", "sd", "sigma"),
    "observer": ("observer", "crew", "inspector", "surveyed_by"),
    "shot_id": (
        "shot_id", "point_id", "p", "point", "point_no", "point_number", "pt", "shot", "id", "name",
    ),
    "elev_ft": ("elev", "z", "elevation", "height"),
    "elev_sd_ft": ("elev_sd", "elevation_sd", "sd", "vrms", "sigma_z"),
    "shot_date": ("shot_date", "date"),
    "description": ("description", "d", "desc", "code", "feature_code"),
    "area_id": (
        "area_id", "area", "district", "zone", "engine", "ward", "area_no", "district_id",
        "neighborhood", "neighbourhood", "subdivision",
    ),
    "area_title": ("area_title", "area_name", "name", "title", "district_name"),
    "work_id": (
        "work_id", "work_no", "project_id", "project", "project_no", "job", "job_no", "permit",
    ),
    "work_title": ("work_title", "project_name", "work_name", "title", "name", "street"),
    "change_in": (
        "change", "grade_change", "change_of_grade", "fill", "raise", "lift", "overlay",
        "thickness", "rise",
    ),
    "change_sd_in": ("change_sd", "sd", "tolerance"),
    "built_on": (
        "built_on", "built", "date_built", "completed", "completion_date", "done", "paved_on",
        "date",
    ),
    "valve_id": ("valve_id", "valve_no", "valve", "facilityid", "asset_id", "valveid"),
    "size_in": ("size", "diameter", "dia", "valve_size", "main_size", "pipe_size"),
    "valve_use": ("valve_use", "use", "valve_type", "function", "type"),
    "turns": ("turns", "no_turns", "turns_to_close"),
    "main_id": ("main_id", "main_no", "main", "pipe_id", "facilityid", "asset_id", "name"),
    "material": ("material", "mat", "pipe_material"),
    "street_id": (
        "street_id", "segment_id", "seg_id", "centerline_id", "street_no", "road_id", "link_id",
        "edge_id", "linearid", "tlid", "osm_id", "facilityid", "asset_id", "id",
    ),
    "street_title": (
        "street_title", "street_name", "full_name", "st_name", "road_name", "street", "name",
        "rd_name", "title", "calle", "rue", "strasse", "straat",
    ),
    "facility_id": ("facility_id", "fac_no", "fac_id", "facilityid", "id"),
    "facility_class": ("facility_class", "class", "category", "type", "use"),
    "facility_title": ("facility_title", "name", "title", "facility_name"),
}  # fmt: skip
"""Canonical column and what the trade calls it."""

_MADE_BY_PROGRAMS = {
    **dict.fromkeys(("objectid", "fid", "ogcfid", "oid"), "row number of a program"),
    "globalid": "id made by a program; changes with copies",
    "uuid": "id made by a program",
    **dict.fromkeys(
        (
            "createddate", "creationdate", "lasteditdate", "lastediteddate", "editdate", "editor",
            "creator", "createduser", "lastediteduser",
        ),
        "who edited when",
    ),
    **dict.fromkeys(("shapelength", "shapearea", "shapeleng", "shapelen"), "made by a program"),
}  # fmt: skip
"""Fields of no use here, by their plain names without underscores."""
_SPELLED_OUT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"})

_UNIT_WORDS = {
    "in": LengthUnit.IN, "inch": LengthUnit.IN, "inches": LengthUnit.IN, "ft": LengthUnit.FT,
    "feet": LengthUnit.FT, "ftus": LengthUnit.FT_US, "mm": LengthUnit.MM, "cm": LengthUnit.CM,
    "m": LengthUnit.M,
}  # fmt: skip


def plain(name: str) -> str:
    """
    A name in lower case, Latin letters without their marks, words joined by underscores.

    Examples
    --------
    >>> plain("HydrantID"), plain("Bury Depth"), plain("HEIGHT_IN")
    ('hydrant_id', 'bury_depth', 'height_in')
    >>> plain("Número"), plain("Eigentümer"), plain("Сухой!")
    ('numero', 'eigentuemer', 'сухой')
    """
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name.strip())
    if not spaced.isascii():
        whole = unicodedata.normalize("NFC", spaced).casefold().translate(_SPELLED_OUT)
        apart = unicodedata.normalize("NFD", whole)
        bare = re.sub(r"(?<=[A-Za-z])[\u0300-\u036f]+", "", apart)
        spaced = unicodedata.normalize("NFC", bare)
    return re.sub(r"[\W_]+", "_", spaced.casefold()).strip("_")


def made_by_program(name: str) -> str | None:
    """
    What a field is that programs make for themselves; None for any other.

    Examples
    --------
    >>> made_by_program("OBJECTID"), made_by_program("HYD_NO")
    ('row number of a program', None)
    """
    return _MADE_BY_PROGRAMS.get(plain(name).replace("_", ""))


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


def score(field_name: str, column: str) -> tuple[float, str]:
    """
    How likely a field of that name holds a column, 0 to 1, and why.

    Examples
    --------
    >>> score("HYD_NO", "hydrant_id")
    (0.964, '`hyd_no` is a usual name for it')
    >>> score("flow_gpm", "bury_ft")
    (0.0, '')
    """
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
                return round(0.98 - 0.004 * min(place, 15), 3), f"`{name}` is a usual name for it"
    if full:
        return SURE, f"`{full}` cut to ten letters"
    again = re.fullmatch(r"(.{8})_\d", cut) if cut else None
    twin = next((n for n in names if again and len(n) > 8 and n.startswith(again.group(1))), None)
    if twin:
        return _CUT_TWICE, f"`{twin}` cut to eight letters, as where two names are cut alike"
    best = process.extractOne(bare, names, scorer=fuzz.ratio)
    if best and best[1] >= _LEAST_LIKENESS:
        return 0.8 * best[1] / 100, f"looks like `{best[0]}`"
    bones = _consonants(bare)
    same = next((n for n in names if len(bones) > 3 and _consonants(n) == bones), None)
    if same:
        return _SAME_CONSONANTS, f"`{same}` without its vowels"
    return 0.0, ""


def _consonants(name: str) -> str:
    return re.sub(r"[aeiou_]", "", name)
