"""
Every table of the house, declared once.

What holds for all tables is in `hydrantgis.ground.table`; what a table is called, what its columns
are, in which unit, and what they may hold stands here and nowhere else.
"""

from __future__ import annotations

from hydrantgis.ground.findings import Severity
from hydrantgis.ground.table import Column, Kind, Table
from hydrantgis.ground.units import LengthUnit

_IN, _FT = LengthUnit.IN, LengthUnit.FT


def _text(name: str, title: str, about: str, *allowed: str, required: bool = False) -> Column:
    return Column(
        name=name, kind=Kind.TEXT, title=title, about=about, allowed=allowed, required=required
    )


def _inches(
    name: str, title: str, about: str, least: float | None = None, most: float | None = None
) -> Column:
    return Column(
        name=name, kind=Kind.REAL, title=title, about=about, unit=_IN, least=least, most=most
    )


def _feet(
    name: str, title: str, about: str, least: float | None = None, most: float | None = None
) -> Column:
    return Column(
        name=name, kind=Kind.REAL, title=title, about=about, unit=_FT, least=least, most=most
    )


def _real(name: str, title: str, about: str, least: float | None = None) -> Column:
    return Column(name=name, kind=Kind.REAL, title=title, about=about, least=least)


def _whole(name: str, title: str, about: str) -> Column:
    return Column(name=name, kind=Kind.INTEGER, title=title, about=about, least=0)


def _date(name: str, title: str, about: str) -> Column:
    return Column(name=name, kind=Kind.DATE, title=title, about=about)


def _flag(name: str, title: str, about: str) -> Column:
    return Column(name=name, kind=Kind.FLAG, title=title, about=about)


def _share(name: str, title: str, about: str) -> Column:
    return Column(name=name, kind=Kind.REAL, title=title, about=about, least=0, most=1)


VERDICTS = ("inside", "low", "high", "unresolved", "unmeasured")
KIT_REMEDIES = ("extend", "exchange", "remove")
"""Remedies that are a kit job."""
REMEDIES = ("none", "extend", "exchange", "remove", "replace", "lower", "measure", "review")
FLANGE_VERDICTS = ("inside", "low", "high", "unknown")
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
    "returned_to_service", "retired", "closed_out",
)  # fmt: skip
CHANGE_KINDS = ("new", "gone", "moved", "changed", "reappeared", "renumbered")
KINDS = (
    "hydrants", "areas", "valves", "mains", "facilities", "works", "readings", "shots", "terrain",
    "surface",
)  # fmt: skip
SURFACE_ROLES = ("terrain", "design")
SAMPLED = ("ok", "outside", "nodata", "no-location")
VISIT_REASONS = ("unmeasured", "unresolved", "screening", "stale")
EFFECTS = ("leaves", "enters", "stays out", "stays inside", "not told")

_ID = _text("hydrant_id", "Hydrant", "The utility's own number of the hydrant.", required=True)
_AREA = _text("area_id", "Area", "The area that the hydrant lies in.")
_ADDRESS = _text("address", "Address", "Street address or cross street.")
_FAMILY = _text("family", "Family", "Hydrant family, as the kit catalogue names it.")
_BURY = _feet(
    "bury_ft",
    "Bury",
    "Ground line to bottom of the inlet pipe, with a kit in it.",
    1,
    20,
)
_INSTALLED = _inches(
    "installed_extension_in", "Installed extension", "Length of the kit in the hydrant now.", 0, 120
)

_HYDRANT_FACTS = (
    _ADDRESS,
    _FAMILY,
    _text("barrel", "Barrel", "Barrel type; only a dry barrel is judged.", *BARRELS),
    _text("status", "Status", "Where the hydrant stands in its life.", *STATUSES),
    _text("owner", "Owner", "Who keeps the hydrant."),
    _inches("hose_outlet_in", "Hose outlet", "Nominal size of the hose outlets.", 1, 8),
    _inches("pumper_outlet_in", "Pumper outlet", "Nominal size of the pumper outlet.", 2, 8),
    _inches("main_valve_in", "Main valve", "Nominal size of the main valve.", 1, 12),
    _BURY,
    _INSTALLED,
    _date("install_date", "Installed", "When the hydrant was set."),
    _real("flow_gpm", "Flow at 20 psi", "Rated flow in gallons a minute.", 0),
)

_READING_FACTS = (
    _date("reading_date", "Read on", "When the height was measured."),
    _text("method", "Method", "How it was measured.", *METHODS),
    _text("measured_to", "Measured to", "Outlet and point of it.", *MEASURED_TO),
    _text("measured_from", "Measured from", "Where the tape or rod stood.", *MEASURED_FROM),
    _inches(
        "outlet_height_in", "Outlet height", "Outlet point above where the tape stood.", -60, 120
    ),
    _feet("outlet_elev_ft", "Outlet elevation", "Elevation of the outlet point."),
    _feet("grade_elev_ft", "Grade elevation", "Elevation of the ground at the hydrant."),
    _text("vertical_datum", "Vertical datum", "Of the elevations, as the source names it."),
    _inches("flange_height_in", "Flange height", "Bottom of the flange above grade.", -60, 60),
    _inches("curb_above_grade_in", "Curb above grade", "Top of curb above grade.", -24, 36),
    _inches("curb_distance_in", "Curb distance", "Outlets to the curb, level.", 0, 1200),
    _inches("height_sd_in", "Standard uncertainty", "Of the height; by method where blank.", 0, 60),
    _text("observer", "Observer", "Who measured."),
)

_NOTE = _text("note", "Note", "Free text.")

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
        _text("reading_id", "Reading", "Made from what the reading says.", required=True),
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
        _text("shot_id", "Shot", "The survey's number of the point.", required=True),
        _text("shot_code", "Code", "What the point stands on.", *SHOT_CODES),
        _feet("elev_ft", "Elevation", "Of the point."),
        _text("vertical_datum", "Vertical datum", "As the survey names it."),
        _feet("elev_sd_ft", "Standard uncertainty", "Of the elevation.", 0, 10),
        _date("shot_date", "Shot on", "When it was surveyed."),
        _text("description", "Description", "As the survey wrote it."),
        _text("hydrant_id", "Hydrant", "The hydrant that the shot names."),
        _text("measured_to", "Measured to", "Outlet and point of it.", *MEASURED_TO),
    ),
    geometry="Point",
)

_SOURCE = _text("source", "Source", "The file and layer that it came from.")

AREAS = Table(
    name="areas",
    title="Areas",
    about="Districts that work is put together by.",
    key="area_id",
    columns=(
        _text("area_id", "Area", "Short id of the area.", required=True),
        _text("area_title", "Area title", "Its name."),
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
        _text("valve_id", "Valve", "The utility's own number.", required=True),
        _inches("size_in", "Size", "Nominal size.", 0.5, 120),
        _text("valve_use", "Use", "What it isolates, as the source says."),
        _real("turns", "Turns", "From open to closed.", 0),
        _text("status", "Status", "As the source says."),
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
        _text("main_id", "Main", "The utility's own number.", required=True),
        _inches("size_in", "Size", "Nominal size.", 0.5, 200),
        _text("material", "Material", "As the source says."),
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
        _text("facility_id", "Facility", "Its id.", required=True),
        _text("facility_class", "Class", "School, clinic, plant, as the source says."),
        _text("facility_title", "Facility title", "Its name."),
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
        _text("work_id", "Work", "Its id.", required=True),
        _text("work_title", "Work title", "What is done."),
        _inches("change_in", "Change of grade", "Up; negative is down.", -600, 600),
        _inches("change_sd_in", "Standard uncertainty", "Of the change.", 0, 120),
        _date("built_on", "Built on", "When the grade changed; blank as long as it is planned."),
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
        _text("import_id", "Import", "The intake that told it.", required=True),
        _text("surface", "Surface", "The name of the surface.", required=True),
        _text("role", "Role", "Ground as it is or was, or as designed.", *SURFACE_ROLES),
        _ID,
        _feet("elev_ft", "Elevation", "Of the surface at the hydrant."),
        _feet("elev_sd_ft", "Standard uncertainty", "Of the elevation.", 0),
        _real("slope", "Slope", "Rise over run of the surface there.", 0),
        _text("vertical_datum", "Vertical datum", "As the source or the user names it."),
        _date("surface_date", "Surface of", "When the ground was so, or shall be."),
        _text("sampled", "Sampled", "What became of the hydrant.", *SAMPLED),
    ),
)

REFERENCE_LAYERS = {t.name: t for t in (AREAS, VALVES, MAINS, FACILITIES, WORKS)}
"""Layers of which a new import replaces what came from the same source."""

HISTORY = Table(
    name="events",
    title="Events",
    about="Everything that was ever told about a hydrant; rows are added, never changed.",
    key="event_id",
    columns=(
        _text("event_id", "Event", "Made from what the event says.", required=True),
        _text("event", "Kind", "What happened.", *EVENTS, required=True),
        _ID,
        _date("event_date", "Happened on", "When it happened, where that is known."),
        _text("import_id", "Import", "The intake that brought it.", required=True),
        _real("x", "X", "Of the hydrant, in the CRS of the register."),
        _real("y", "Y", "Of the hydrant, in the CRS of the register."),
        *_HYDRANT_FACTS,
        *_READING_FACTS,
        _NOTE,
    ),
)

IMPORTS = Table(
    name="imports",
    title="Intakes",
    about="Where everything in the register came from.",
    key="import_id",
    columns=(
        _text("import_id", "Import", "Made from the source and how it was read.", required=True),
        _text("as_kind", "As", "What it was read as.", *KINDS),
        _text("source", "Source", "File name."),
        _text("layer", "Layer", "Layer in the file."),
        _text("sha256", "SHA-256", "Of the source's bytes."),
        _whole("source_rows", "Rows in", "Rows that the source held."),
        _whole("accepted", "Accepted", "Rows that came into the register."),
        _whole("held", "Held", "Rows kept aside until someone decides."),
        _whole("rejected", "Rejected", "Rows that cannot be used."),
        _text("crs", "CRS", "Of the source."),
        _text("crs_from", "CRS from", "Who named the CRS.", "source", "user", "none"),
        _text("fields", "Fields", "Canonical column and the field it was read from, as JSON."),
        _text("options", "Options", "Units, ids and other words of the user, as JSON."),
        _text(
            "vintage_of", "Vintage of", "The first intake of the layer that this is a newer one of."
        ),
        Column(name="recorded_at", kind=Kind.MOMENT, title="Recorded at", about="When, UTC."),
        _text("version", "Version", "Of this program."),
    ),
)

_FINDING_COLUMNS = (
    _text("code", "Code", "What kind of finding.", required=True),
    _text("severity", "Severity", "How much it matters.", *(s.value for s in Severity)),
    _text("table", "Table", "The table that the row stands in."),
    _text("key", "Key", "The row."),
    _text("column", "Column", "The column that it is about."),
    _text("value", "Value", "What stands there."),
    _text("message", "Message", "In words."),
)

FINDINGS = Table(
    name="findings",
    title="Findings",
    about="What was noticed about rows.",
    key="code",
    columns=(_text("import_id", "Import", "The intake that noticed it."), *_FINDING_COLUMNS),
)

EXCEPTIONS = Table(
    name="exceptions",
    title="Exceptions",
    about="Rows that were not accepted, as the source had them, and rows to look at.",
    key="code",
    columns=(
        _text("import_id", "Import", "The intake that it came with."),
        _text("outcome", "Outcome", "What became of the row.", "held", "rejected", "flagged"),
        _whole("source_row", "Source row", "Number of the row in the source, from 1."),
        *_FINDING_COLUMNS,
        _text("row_json", "Row", "The row as it stood in the source, as JSON."),
    ),
    geometry="Point",
)

CHANGES = Table(
    name="changes",
    title="Changes",
    about="What each newer hydrant layer told otherwise than the register stood.",
    key="hydrant_id",
    columns=(
        _text("import_id", "Import", "The intake that told it.", required=True),
        _ID,
        _text("change", "Change", "What kind of change.", *CHANGE_KINDS, required=True),
        _text("column", "Column", "The column that changed."),
        _text("before", "Before", "What stood there."),
        _text("after", "After", "What is told now."),
        _feet("moved_ft", "Moved", "How far the point moved.", 0),
        _text("other_id", "Other id", "The id that stands at the same place, before or after."),
    ),
)

CHECKED = Table(
    name="checked",
    title="Checked hydrants",
    about="Every hydrant with its height, verdict and remedy under one rule.",
    key="hydrant_id",
    columns=(
        _ID,
        _AREA,
        _inches("outlet_height_in", "Outlet height", "The rule's point above its datum."),
        _inches("height_sd_in", "Standard uncertainty", "Of the outlet height.", 0),
        _text("height_basis", "Height basis", "What the height rests on."),
        _date("reading_date", "Read on", "When it was measured."),
        _text("rule_id", "Rule", "The height rule."),
        _inches("window_lo_in", "Window low", "Least allowed height; blank where there is none."),
        _inches("window_hi_in", "Window high", "Greatest allowed height; blank where none."),
        _text("verdict", "Verdict", "Where the outlet stands; blank where not judged.", *VERDICTS),
        _flag("marginal", "Marginal", "The expanded uncertainty (k = 2) crosses a limit."),
        _share("p_inside", "P inside", "Probability that the height is inside the window."),
        _share("p_low", "P low", "Probability that it is below."),
        _share("p_high", "P high", "Probability that it is above."),
        _inches("shortfall_in", "Shortfall", "How far below the window; 0 where not low.", 0),
        _inches("excess_in", "Excess", "How far above the window; 0 where not high.", 0),
        _inches("flange_height_in", "Flange height", "Breakaway flange above grade."),
        _text("flange_verdict", "Flange verdict", "Where the flange stands.", *FLANGE_VERDICTS),
        _text("remedy", "Remedy", "What to do.", *REMEDIES),
        _text("remedy_reason", "Remedy reason", "Why, as a code and a sentence."),
        _text("kit_id", "Kit", "The kit to fit."),
        _inches("kit_length_in", "Kit length", "Length of the kit to fit."),
        _inches("raise_in", "Raise", "How far outlet and flange rise; negative is down."),
        _inches("outlet_height_after_in", "Outlet height after", "With the remedy done."),
        _inches("flange_height_after_in", "Flange height after", "With the remedy done."),
        _BURY,
        _feet("bury_after_ft", "Bury after", "With the remedy done: what to order."),
        _INSTALLED,
    ),
    geometry="Point",
)

PROVENANCE = Table(
    name="provenance",
    title="Provenance",
    about="What a result rests on.",
    key="item",
    columns=(
        _text("item", "Item", "What it is about.", required=True),
        _text("value", "Value", "What it was."),
    ),
)

SETTINGS = Table(
    name="settings",
    title="Settings",
    about="What holds for the whole register: format, CRS, rule, kits.",
    key="item",
    columns=PROVENANCE.columns,
)

_CHECKED_IN_JOB = tuple(
    CHECKED[name]
    for name in (
        "verdict", "outlet_height_in", "height_sd_in", "reading_date", "p_inside", "remedy",
        "remedy_reason", "kit_id", "kit_length_in", "raise_in", "outlet_height_after_in",
        "flange_height_after_in", "bury_ft", "bury_after_ft", "installed_extension_in",
    )
)  # fmt: skip
_AREA_TITLE = AREAS["area_title"]

GRADES = Table(
    name="grades",
    title="Grade from shots",
    about="What the ground shots tell of the grade at each hydrant.",
    key="hydrant_id",
    columns=(
        _ID,
        _text("vertical_datum", "Vertical datum", "Of the elevations, folded."),
        _feet("grade_elev_ft", "Grade", "At the barrel."),
        _feet("grade_sd_ft", "Standard uncertainty", "Of the grade.", 0),
        _text("fit", "Fit", "plane, mean or single."),
        _whole("shots", "Shots", "That it rests on."),
        _real("slope", "Slope", "Rise over run of the plane.", 0),
        _feet("residual_ft", "Residual", "Root mean square, of the plane or the mean.", 0),
        _feet("highest_ft", "Highest ground", "Of those shots."),
        _feet("lowest_ft", "Lowest ground", "Of those shots."),
    ),
)

DRIFTS = Table(
    name="drifts",
    title="Drift",
    about="Hydrants with readings of two days or more, and how fast their height changes.",
    key="hydrant_id",
    columns=(
        _ID,
        _whole("readings", "Readings", "That the rate rests on."),
        _date("first_date", "First reading", "The oldest of them."),
        _date("last_date", "Last reading", "The newest of them."),
        _real("rate_in_per_yr", "Rate", "Inches a year; negative is down."),
        _real("rate_sd_in_per_yr", "Standard uncertainty", "Of the rate.", 0),
        _date("leaves_on", "Leaves on", "From when it is likely out; blank where it is steady."),
        _whole("leaves_season", "Leaves in", "The year of that day."),
        _text("side", "Side", "Where it leaves the window.", "low", "high"),
    ),
)

VISITS = Table(
    name="visits",
    title="Where to measure next",
    about="Hydrants whose height a tape would tell more of, by area in the order of a walk.",
    key="hydrant_id",
    columns=(
        _AREA,
        _whole("stop", "Stop", "Order of the walk in its area, from 1."),
        _ID,
        _ADDRESS,
        _text("reason", "Reason", "Why to measure.", *VISIT_REASONS),
        _whole("rank", "Rank", "By how much a reading may change the season list, 1 the most."),
        _share("p_changes", "P changes", "Probability that a reading changes what is planned."),
        _date("reading_date", "Read on", "When it was measured last."),
    ),
    geometry="Point",
)

SCENARIO = Table(
    name="scenario",
    title="Scenario",
    about="Every hydrant as it stands, and as it will when the grade has changed.",
    key="hydrant_id",
    columns=(
        _ID,
        _AREA,
        _inches("grade_change_in", "Change of grade", "Up; negative is down."),
        _inches("grade_change_sd_in", "Standard uncertainty", "Of the change.", 0),
        _text("effect", "Effect", "What the change does to the verdict.", *EFFECTS),
        _flag("job_wrong", "Job becomes wrong", "A kit that is planned now does not serve then."),
        _inches("outlet_height_in", "Outlet height", "Now."),
        _inches("outlet_height_then_in", "Outlet height then", "Over the grade to come."),
        _inches("height_sd_then_in", "Standard uncertainty then", "Of that height.", 0),
        _text("verdict", "Verdict", "Now.", *VERDICTS),
        _text("verdict_then", "Verdict then", "Over the grade to come.", *VERDICTS),
        _share("p_inside_then", "P inside then", "Probability of being inside the window then."),
        _text("remedy", "Remedy", "Now.", *REMEDIES),
        _text("remedy_then", "Remedy then", "For the grade to come.", *REMEDIES),
        _text("remedy_then_reason", "Reason then", "Why, as a code and a sentence."),
        _text("kit_id", "Kit", "The kit that serves now."),
        _text("kit_then_id", "Kit then", "The kit that serves then."),
        _inches("kit_length_then_in", "Kit length then", "Its length."),
    ),
    geometry="Point",
)

JOBS = Table(
    name="jobs",
    title="Season list",
    about="Hydrants that a kit puts right, by area.",
    key="hydrant_id",
    columns=(_AREA, _AREA_TITLE, _ID, _ADDRESS, _FAMILY, *_CHECKED_IN_JOB),
    geometry="Point",
)


def _list(name: str, title: str, about: str) -> Table:
    return Table(
        name=name,
        title=title,
        about=about,
        key="hydrant_id",
        columns=JOBS.columns,
        geometry="Point",
    )


OTHER_LISTS = {
    "measure": _list("to_measure", "To measure", "Hydrants whose height is not known well enough."),
    "replace": _list("to_replace", "To replace", "Hydrants that need another bury."),
    "lower": _list("to_lower", "To lower", "Hydrants that stand too high."),
    "review": _list("to_review", "To review", "Hydrants for the engineer."),
}
"""Lists beside the season list, by remedy."""

AREA_TOTALS = Table(
    name="area_totals",
    title="Totals by area",
    about="How the hydrants of each area stand and what they need.",
    key="area_id",
    columns=(
        _AREA,
        _AREA_TITLE,
        _whole("hydrants", "Hydrants", "All that are in the area."),
        _whole("not_judged", "Not judged", "No dry barrel, or retired."),
        _whole("measured", "Measured", "With a reading, unresolved ones included."),
        *(_whole(v, v.capitalize(), f"Verdict `{v}`.") for v in VERDICTS),
        _whole("jobs", "Kit jobs", "Remedy extend, exchange or remove."),
        _whole("kits", "Kits", "To be fitted."),
        *(_whole(f"to_{r}", f"To {r}", f"Remedy `{r}`.") for r in OTHER_LISTS),
    ),
)

KIT_TOTALS = Table(
    name="kit_totals",
    title="Kits by area, family and length",
    about="What to order.",
    key="kit_id",
    columns=(
        _AREA,
        _FAMILY,
        _text("kit_id", "Kit", "The kit."),
        _inches("kit_length_in", "Kit length", "Its length."),
        _whole("kits", "Kits", "How many."),
    ),
)

INTAKE_TABLES = {
    t.name: t for t in (HYDRANTS, AREAS, VALVES, MAINS, FACILITIES, WORKS, READINGS, SHOTS)
}
"""What a source can be read as."""

ALL_TABLES = (
    HYDRANTS, READINGS, SHOTS, AREAS, VALVES, MAINS, FACILITIES, WORKS, SURFACES, HISTORY,
    IMPORTS, FINDINGS, EXCEPTIONS, CHANGES, CHECKED, GRADES, DRIFTS, VISITS, SCENARIO, PROVENANCE,
    SETTINGS, JOBS, *OTHER_LISTS.values(), AREA_TOTALS, KIT_TOTALS,
)  # fmt: skip
"""Every table there is."""
