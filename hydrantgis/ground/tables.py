"""
Every table that a source is read as or a register keeps, declared once.

What holds for all tables is in `hydrantgis.ground.table`; what a table is called, what its columns
are, in which unit, and what they may hold stands here, and in `hydrantgis.ground.results` for what
is told of the hydrants.
"""

from __future__ import annotations

from hydrantgis.ground import columns as c
from hydrantgis.ground.findings import Severity
from hydrantgis.ground.table import Column, Kind, Table

BARRELS = ("dry", "wet", "other")
STATUSES = ("in_service", "out_of_service", "retired")
OUTLETS = ("hose", "pumper", "lowest", "any")
POINTS = ("centerline", "bottom")
MEASURED_TO = (
    *(f"{outlet}-{point}" for outlet in OUTLETS for point in POINTS), "nut-top", "flange-bottom",
)  # fmt: skip
MEASURED_FROM = ("grade", "curb", "flange")
METHODS = ("tape", "level", "gnss", "shot", "eye", "terrain")
SHOT_CODES = (
    "ground", "outlet", "outlet-centerline", "outlet-bottom", "flange", "nut", "curb", "wall",
    "other",
)  # fmt: skip
SHOTS_ON_HYDRANT = SHOT_CODES[1:6]
"""Codes of shots that stand on a hydrant."""
EVENTS = (
    "imported", "measured", "extended", "grade_changed", "flowed", "out_of_service",
    "returned_to_service", "retired", "closed_out", "struck",
)  # fmt: skip
CHANGE_KINDS = ("new", "gone", "moved", "changed", "reappeared", "renumbered")
KINDS = (
    "hydrants", "areas", "valves", "mains", "streets", "facilities", "works", "readings", "shots",
    "terrain", "surface",
)  # fmt: skip
SURFACE_ROLES = ("terrain", "design")
SAMPLED = ("ok", "outside", "nodata", "no-location")
_ID = c.text("hydrant_id", "Hydrant", "The utility's own number of the hydrant.", required=True)
_ADDRESS = c.text("address", "Address", "Street address or cross street.")
_FAMILY = c.text("family", "Family", "Hydrant family, as the kit catalogue names it.")
_BURY = c.feet(
    "bury_ft",
    "Bury",
    "Ground line to bottom of the inlet pipe, with a kit in it.",
    1,
    20,
)
_INSTALLED = c.inches(
    "installed_extension_in", "Installed extension", "Length of the kit in the hydrant now.", 0, 120
)

_HYDRANT_FACTS = (
    _ADDRESS,
    _FAMILY,
    c.text("barrel", "Barrel", "Barrel type; only a dry barrel is judged.", *BARRELS),
    c.text("status", "Status", "Where the hydrant stands in its life.", *STATUSES),
    c.text("owner", "Owner", "Who keeps the hydrant."),
    c.inches("hose_outlet_in", "Hose outlet", "Nominal size of the hose outlets.", 1, 8),
    c.inches("pumper_outlet_in", "Pumper outlet", "Nominal size of the pumper outlet.", 2, 8),
    c.inches("main_valve_in", "Main valve", "Nominal size of the main valve.", 1, 12),
    _BURY,
    _INSTALLED,
    c.date("install_date", "Installed", "When the hydrant was set."),
    c.real("flow_gpm", "Flow at 20 psi", "Rated flow in gallons a minute.", 0),
)

_READING_FACTS = (
    c.date("reading_date", "Read on", "When the height was measured."),
    c.text("method", "Method", "How it was measured.", *METHODS),
    c.text("measured_to", "Measured to", "Outlet and point of it.", *MEASURED_TO),
    c.text("measured_from", "Measured from", "Where the tape or rod stood.", *MEASURED_FROM),
    c.inches(
        "outlet_height_in", "Outlet height", "Outlet point above where the tape stood.", -60, 120
    ),
    c.feet("outlet_elev_ft", "Outlet elevation", "Elevation of the outlet point."),
    c.feet("grade_elev_ft", "Grade elevation", "Elevation of the ground at the hydrant."),
    c.text("vertical_datum", "Vertical datum", "Of the elevations, as the source names it."),
    c.inches("flange_height_in", "Flange height", "Bottom of the flange above grade.", -60, 60),
    c.feet("flange_elev_ft", "Flange elevation", "Elevation of the bottom of the flange."),
    c.inches("curb_above_grade_in", "Curb above grade", "Top of curb above grade.", -24, 36),
    c.feet("curb_elev_ft", "Curb elevation", "Elevation of the top of the curb."),
    c.inches("curb_distance_in", "Curb distance", "Outlets to the curb, level.", 0, 1200),
    c.inches(
        "height_sd_in", "Standard uncertainty", "Of the height; by method where blank.", 0, 60
    ),
    c.text("observer", "Observer", "Who measured."),
)

_NOTE = c.text("note", "Note", "Free text.")

HYDRANTS = Table(
    name="hydrants",
    title="Hydrants",
    about="What each hydrant is now, as its events say.",
    key="hydrant_id",
    columns=(_ID, *_HYDRANT_FACTS, _NOTE),
    geometry="Point",
)

HYDRANT_FACT_NAMES = [name for name in HYDRANTS.names if name != HYDRANTS.key]
"""What is told about a hydrant, apart from its id and its place."""

READINGS = Table(
    name="readings",
    title="Readings",
    about="One measured height each, or a pair of elevations.",
    key="reading_id",
    columns=(
        c.text("reading_id", "Reading", "Made from what the reading says.", required=True),
        _ID,
        *_READING_FACTS,
        _NOTE,
    ),
)

SHOTS = Table(
    name="shots",
    title="Grade shots",
    about="Surveyed points on the ground and on hydrants.",
    key="shot_id",
    columns=(
        c.text("shot_id", "Shot", "The survey's number of the point.", required=True),
        c.text("shot_code", "Code", "What the point stands on.", *SHOT_CODES),
        c.feet("elev_ft", "Elevation", "Of the point."),
        c.text("vertical_datum", "Vertical datum", "As the survey names it."),
        c.feet("elev_sd_ft", "Standard uncertainty", "Of the elevation.", 0, 10),
        c.date("shot_date", "Shot on", "When it was surveyed."),
        c.text("description", "Description", "As the survey wrote it."),
        c.text("hydrant_id", "Hydrant", "The hydrant that the shot names."),
        c.text("measured_to", "Measured to", "Outlet and point of it.", *MEASURED_TO),
        c.text("import_id", "Import", "The intake that told it."),
    ),
    geometry="Point",
)

_SOURCE = c.text("source", "Source", "The file and layer that it came from.")

AREAS = Table(
    name="areas",
    title="Areas",
    about="Districts that work is put together by.",
    key="area_id",
    columns=(
        c.text("area_id", "Area", "Short id of the area.", required=True),
        c.text("area_title", "Area title", "Its name."),
        _SOURCE,
    ),
    geometry="MultiPolygon",
)

VALVES = Table(
    name="valves",
    title="Valves",
    about="Valves on mains and hydrant branches.",
    key="valve_id",
    columns=(
        c.text("valve_id", "Valve", "The utility's own number.", required=True),
        c.inches("size_in", "Size", "Nominal size.", 0.5, 120),
        c.text("valve_use", "Use", "What it isolates, as the source says."),
        c.real("turns", "Turns", "From open to closed.", 0),
        c.text("status", "Status", "As the source says."),
        _SOURCE,
    ),
    geometry="Point",
)

MAINS = Table(
    name="mains",
    title="Mains",
    about="Pipes that feed the hydrants.",
    key="main_id",
    columns=(
        c.text("main_id", "Main", "The utility's own number.", required=True),
        c.inches("size_in", "Size", "Nominal size.", 0.5, 200),
        c.text("material", "Material", "As the source says."),
        _SOURCE,
    ),
    geometry="MultiLineString",
)

STREETS = Table(
    name="streets",
    title="Streets",
    about="Centerlines of streets, along which distances are measured.",
    key="street_id",
    columns=(
        c.text("street_id", "Street", "Id of the line.", required=True),
        c.text("street_title", "Street title", "Its name."),
        _SOURCE,
    ),
    geometry="MultiLineString",
)

FACILITIES = Table(
    name="facilities",
    title="Facilities",
    about="What hydrants protect.",
    key="facility_id",
    columns=(
        c.text("facility_id", "Facility", "Its id.", required=True),
        c.text("facility_class", "Class", "School, clinic, plant, as the source says."),
        c.text("facility_title", "Facility title", "Its name."),
        _SOURCE,
    ),
    geometry="Point",
)

WORKS = Table(
    name="works",
    title="Works",
    about="Overlays, fills and cuts: where the grade changes, by how much, and since when.",
    key="work_id",
    columns=(
        c.text("work_id", "Work", "Its id.", required=True),
        c.text("work_title", "Work title", "What is done."),
        c.inches("change_in", "Change of grade", "Up; negative is down.", -600, 600),
        c.inches("change_sd_in", "Standard uncertainty", "Of the change.", 0, 120),
        c.date("built_on", "Built on", "When the grade changed; blank as long as it is planned."),
        _SOURCE,
    ),
    geometry="MultiPolygon",
)

SURFACES = Table(
    name="surfaces",
    title="Surfaces at the hydrants",
    about="What terrain models and design surfaces tell of the grade at each hydrant.",
    key="hydrant_id",
    columns=(
        c.text("import_id", "Import", "The intake that told it.", required=True),
        c.text("surface", "Surface", "The name of the surface.", required=True),
        c.text("role", "Role", "Ground as it is or was, or as designed.", *SURFACE_ROLES),
        _ID,
        c.feet("elev_ft", "Elevation", "Of the surface at the hydrant."),
        c.feet("elev_sd_ft", "Standard uncertainty", "Of the elevation.", 0),
        c.real("slope", "Slope", "Rise over run of the surface there.", 0),
        c.text("vertical_datum", "Vertical datum", "As the source or the user names it."),
        c.date("surface_date", "Surface of", "When the ground was so, or shall be."),
        c.text("sampled", "Sampled", "What became of the hydrant.", *SAMPLED),
    ),
)

REFERENCE_LAYERS = {t.name: t for t in (AREAS, VALVES, MAINS, STREETS, FACILITIES, WORKS)}
"""Layers of which a new import replaces what came from the same source."""

HISTORY = Table(
    name="events",
    title="Events",
    about="Everything that was ever told about a hydrant; rows are added, never changed.",
    key="event_id",
    columns=(
        c.text("event_id", "Event", "Made from what the event says.", required=True),
        c.text("event", "Kind", "What happened.", *EVENTS, required=True),
        _ID,
        c.date("event_date", "Happened on", "When it happened, where that is known."),
        c.text("import_id", "Import", "The intake that brought it.", required=True),
        c.real("x", "X", "Of the hydrant, in the CRS of the register."),
        c.real("y", "Y", "Of the hydrant, in the CRS of the register."),
        *_HYDRANT_FACTS,
        *_READING_FACTS,
        _NOTE,
        c.text("strikes", "Strikes", "The reading that counts no more from here on."),
    ),
)

IMPORTS = Table(
    name="imports",
    title="Intakes",
    about="Where everything in the register came from.",
    key="import_id",
    columns=(
        c.text("import_id", "Import", "Made from the source and how it was read.", required=True),
        c.text("as_kind", "As", "What it was read as.", *KINDS),
        c.text("source", "Source", "File name."),
        c.text("layer", "Layer", "Layer in the file."),
        c.text("sha256", "SHA-256", "Of the source's bytes."),
        c.whole("source_rows", "Rows in", "Rows that the source held."),
        c.whole("accepted", "Accepted", "Rows that came into the register."),
        c.whole("held", "Held", "Rows kept aside until someone decides."),
        c.whole("rejected", "Rejected", "Rows that cannot be used."),
        c.text("crs", "CRS", "Of the source."),
        c.text("crs_from", "CRS from", "Who named the CRS.", "source", "user", "none"),
        c.text("fields", "Fields", "Canonical column and the field it was read from, as JSON."),
        c.text("options", "Options", "Units, ids and other words of the user, as JSON."),
        c.text(
            "vintage_of", "Vintage of", "The first intake of the layer that this is a newer one of."
        ),
        Column(name="recorded_at", kind=Kind.MOMENT, title="Recorded at", about="When, UTC."),
        c.text("version", "Version", "Of this program."),
    ),
)

_FINDING_COLUMNS = (
    c.text("code", "Code", "What kind of finding.", required=True),
    c.text("severity", "Severity", "How much it matters.", *(s.value for s in Severity)),
    c.text("table", "Table", "The table that the row stands in."),
    c.text("key", "Key", "The row."),
    c.text("column", "Column", "The column that it is about."),
    c.text("value", "Value", "What stands there."),
    c.text("message", "Message", "In words."),
)

FINDINGS = Table(
    name="findings",
    title="Findings",
    about="What was noticed about rows.",
    key="code",
    columns=(c.text("import_id", "Import", "The intake that noticed it."), *_FINDING_COLUMNS),
)

EXCEPTIONS = Table(
    name="exceptions",
    title="Exceptions",
    about="Rows that were not accepted, as the source had them, and rows to look at.",
    key="code",
    columns=(
        c.text("import_id", "Import", "The intake that it came with."),
        c.text("outcome", "Outcome", "What became of the row.", "held", "rejected", "flagged"),
        c.whole("source_row", "Source row", "Number of the row in the source, from 1."),
        *_FINDING_COLUMNS,
        c.text("row_json", "Row", "The row as it stood in the source, as JSON."),
    ),
    geometry="Point",
)

CHANGES = Table(
    name="changes",
    title="Changes",
    about="What each newer hydrant layer told otherwise than the register stood.",
    key="hydrant_id",
    columns=(
        c.text("import_id", "Import", "The intake that told it.", required=True),
        _ID,
        c.text("change", "Change", "What kind of change.", *CHANGE_KINDS, required=True),
        c.text("column", "Column", "The column that changed."),
        c.text("before", "Before", "What stood there."),
        c.text("after", "After", "What is told now."),
        c.feet("moved_ft", "Moved", "How far the point moved.", 0),
        c.text("other_id", "Other id", "The id that stands at the same place, before or after."),
    ),
)

PROVENANCE = Table(
    name="provenance",
    title="Provenance",
    about="What a result rests on.",
    key="item",
    columns=(
        c.text("item", "Item", "What it is about.", required=True),
        c.text("value", "Value", "What it was."),
    ),
)

SETTINGS = Table(
    name="settings",
    title="Settings",
    about="What holds for the whole register: format, CRS, rule, kits.",
    key="item",
    columns=PROVENANCE.columns,
)

INTAKE_TABLES = {
    t.name: t for t in (HYDRANTS, AREAS, VALVES, MAINS, STREETS, FACILITIES, WORKS, READINGS, SHOTS)
}
"""What a source can be read as."""
