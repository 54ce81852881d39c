"""
Every table that tells a result, declared once: checks, scenarios, lists of a season.
"""

from __future__ import annotations

from hydrantgis.ground import columns as c
from hydrantgis.ground.table import Table
from hydrantgis.ground.tables import AREAS, HYDRANTS, OUTLETS, VALVES

VERDICTS = ("inside", "low", "high", "unresolved", "unmeasured")
KIT_REMEDIES = ("extend", "exchange", "remove")
"""Remedies that are a kit job."""
REMEDIES = (
    "none", "extend", "exchange", "remove", "replace", "lower", "regrade", "measure", "review",
)  # fmt: skip
REMEDY_WORDS = {
    "extend": "extend", "exchange": "exchange the kit", "remove": "take the kit out",
    "replace": "replace", "lower": "lower", "regrade": "raise the ground",
    "measure": "measure", "review": "review",
    "none": "nothing to do",
}  # fmt: skip
"""What each remedy is called where people read it, kit jobs first."""

FLANGE_VERDICTS = ("inside", "low", "high", "unknown")
VISIT_REASONS = ("unmeasured", "unresolved", "screening", "stale", "flange")
EFFECTS = ("leaves", "enters", "stays out", "stays inside", "not told")


_ID, _ADDRESS, _FAMILY = HYDRANTS["hydrant_id"], HYDRANTS["address"], HYDRANTS["family"]
_BURY, _INSTALLED = HYDRANTS["bury_ft"], HYDRANTS["installed_extension_in"]
_AREA = c.text("area_id", "Area", "The area that the hydrant lies in.")
CHECKED = Table(
    name="checked",
    title="Checked hydrants",
    about="Every hydrant with its height, verdict and remedy under one rule.",
    key="hydrant_id",
    columns=(
        _ID,
        _AREA,
        c.inches("outlet_height_in", "Outlet height", "The rule's point above its datum."),
        c.inches("height_sd_in", "Standard uncertainty", "Of the outlet height.", 0),
        c.text("height_basis", "Height basis", "What the height rests on."),
        c.date("reading_date", "Read on", "When it was measured."),
        c.text("rule_id", "Rule", "The height rule."),
        c.inches("window_lo_in", "Window low", "Least allowed height; blank where there is none."),
        c.inches("window_hi_in", "Window high", "Greatest allowed height; blank where none."),
        c.text("verdict", "Verdict", "Where the outlet stands; blank where not judged.", *VERDICTS),
        c.flag("marginal", "Marginal", "The expanded uncertainty (k = 2) crosses a limit."),
        c.share("p_inside", "P inside", "Probability that the height is inside the window."),
        c.share("p_low", "P low", "Probability that it is below."),
        c.share("p_high", "P high", "Probability that it is above."),
        c.inches("shortfall_in", "Shortfall", "How far below the window; 0 where not low.", 0),
        c.inches("excess_in", "Excess", "How far above the window; 0 where not high.", 0),
        c.inches("flange_height_in", "Flange height", "Breakaway flange above grade."),
        c.text("flange_verdict", "Flange verdict", "Where the flange stands.", *FLANGE_VERDICTS),
        c.text("remedy", "Remedy", "What to do.", *REMEDIES),
        c.text("remedy_reason", "Remedy reason", "Why, as a code and a sentence."),
        c.text("kit_id", "Kit", "The kit to fit."),
        c.inches("kit_length_in", "Kit length", "Length of the kit to fit."),
        c.inches("raise_in", "Raise", "How far outlet and flange rise; negative is down."),
        c.inches("outlet_height_after_in", "Outlet height after", "With the remedy done."),
        c.inches("flange_height_after_in", "Flange height after", "With the remedy done."),
        _BURY,
        c.feet("bury_after_ft", "Bury after", "With the remedy done: what to order."),
        _INSTALLED,
    ),
    geometry="Point",
)

OUTLET_HEIGHTS = Table(
    name="outlets",
    title="Outlets",
    about="Every outlet of which the height was measured; the rule judges one of them.",
    key="hydrant_id",
    columns=(
        _ID,
        c.text("outlet", "Outlet", "Which one.", *OUTLETS),
        c.flag("governs", "Governs", "Whether the rule judges it."),
        c.inches("height_in", "Height", "Of its centerline above grade, as it was read."),
        CHECKED["height_sd_in"],
        CHECKED["height_basis"],
        CHECKED["reading_date"],
    ),
)

_P_AFTER = c.share("p_inside_after", "P inside after", "Probability of it, with the remedy done.")

ALTERNATIVES = Table(
    name="alternatives",
    title="What can be tried",
    about="Every change that the kits of a hydrant's family allow, and where it ends.",
    key="hydrant_id",
    columns=(
        _ID,
        c.text("change", "Change", "What is done."),
        CHECKED["kit_id"],
        CHECKED["kit_length_in"],
        CHECKED["raise_in"],
        CHECKED["outlet_height_after_in"],
        c.flag("outlet_inside", "Outlet inside", "Whether it ends inside its window."),
        CHECKED["flange_height_after_in"],
        c.flag("flange_inside", "Flange inside", "Whether it does; blank where not measured."),
        _P_AFTER,
        CHECKED["bury_after_ft"],
        c.flag("fits", "Fits", "Nothing is against it."),
        c.flag("chosen", "Chosen", "What the check takes."),
        c.text("against", "Against it", "What is."),
    ),
)

_CHECKED_IN_JOB = tuple(
    CHECKED[name]
    for name in (
        "verdict", "outlet_height_in", "height_sd_in", "reading_date", "p_inside", "remedy",
        "remedy_reason", "kit_id", "kit_length_in", "raise_in", "outlet_height_after_in",
        "flange_height_in", "flange_verdict", "flange_height_after_in", "bury_ft", "bury_after_ft",
        "installed_extension_in",
    )
)  # fmt: skip
_AREA_TITLE = AREAS["area_title"]

GRADES = Table(
    name="grades",
    title="Grade from shots",
    about="What the ground shots of each survey tell of the grade at each hydrant.",
    key="hydrant_id",
    columns=(
        _ID,
        c.text("vertical_datum", "Vertical datum", "Of the elevations, folded."),
        c.date("survey_date", "Surveyed from", "The first day of those shots."),
        c.flag("stands", "Stands", "Whether this survey tells the grade as it is."),
        c.feet("grade_elev_ft", "Grade", "At the barrel."),
        c.feet("grade_sd_ft", "Standard uncertainty", "Of the grade.", 0),
        c.text("fit", "Fit", "plane, mean or single."),
        c.whole("shots", "Shots", "That it rests on."),
        c.real("slope", "Slope", "Rise over run of the plane.", 0),
        c.feet("residual_ft", "Residual", "Root mean square, of the plane or the mean.", 0),
        c.feet("highest_ft", "Highest ground", "Of those shots."),
        c.feet("lowest_ft", "Lowest ground", "Of those shots."),
    ),
)

DRIFTS = Table(
    name="drifts",
    title="Drift",
    about="Hydrants with readings of two days or more, and how fast their height changes.",
    key="hydrant_id",
    columns=(
        _ID,
        c.whole("readings", "Readings", "That the rate rests on."),
        c.date("first_date", "First reading", "The oldest of them."),
        c.date("last_date", "Last reading", "The newest of them."),
        c.real("rate_in_per_yr", "Rate", "Inches a year; negative is down."),
        c.real("rate_sd_in_per_yr", "Standard uncertainty", "Of the rate.", 0),
        c.flag("steady", "Steady", "The rate cannot be told from none (1.96 uncertainties)."),
        c.date("leaves_on", "Leaves on", "From when it is likely out; blank where that is not."),
        c.whole("leaves_season", "Leaves in", "The year of that day."),
        c.text("side", "Side", "Where it leaves the window.", "low", "high"),
    ),
)

VISITS = Table(
    name="visits",
    title="Where to measure next",
    about="Hydrants whose height a tape would tell more of, by area in the order of a walk.",
    key="hydrant_id",
    columns=(
        _AREA,
        c.whole("stop", "Stop", "Order of the walk in its area, from 1."),
        _ID,
        _ADDRESS,
        c.text("reason", "Reason", "Why to measure.", *VISIT_REASONS),
        c.whole("rank", "Rank", "By the probability times the priority, 1 the most."),
        c.share("p_changes", "P changes", "Probability that a reading changes what is planned."),
        c.real("priority", "Priority", "How much the hydrant matters, from 1.", 1),
        c.text("priority_reasons", "Why", "What raises the priority."),
        c.date("reading_date", "Read on", "When it was measured last."),
        c.whole("days_since_reading", "Days since", "Days since that reading."),
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
        c.inches("grade_change_in", "Change of grade", "Up; negative is down."),
        c.inches("grade_change_sd_in", "Standard uncertainty", "Of the change.", 0),
        c.text("effect", "Effect", "What the change does to the verdict.", *EFFECTS),
        c.flag("job_wrong", "Job becomes wrong", "A kit that is planned now does not serve then."),
        c.inches("outlet_height_in", "Outlet height", "Now."),
        c.inches("outlet_height_then_in", "Outlet height then", "Over the grade to come."),
        c.inches("height_sd_then_in", "Standard uncertainty then", "Of that height.", 0),
        c.text("verdict", "Verdict", "Now.", *VERDICTS),
        c.text("verdict_then", "Verdict then", "Over the grade to come.", *VERDICTS),
        c.flag("marginal_then", "Marginal then", "The expanded uncertainty crosses a limit then."),
        c.share("p_inside_then", "P inside then", "Probability of being inside the window then."),
        c.text("remedy", "Remedy", "Now.", *REMEDIES),
        c.text("remedy_then", "Remedy then", "For the grade to come.", *REMEDIES),
        c.text("remedy_then_reason", "Reason then", "Why, as a code and a sentence."),
        c.text("kit_id", "Kit", "The kit that serves now."),
        c.text("kit_then_id", "Kit then", "The kit that serves then."),
        c.inches("kit_length_then_in", "Kit length then", "Its length."),
    ),
    geometry="Point",
)

JOBS = Table(
    name="jobs",
    title="Season list",
    about="Hydrants that a kit puts right, by area.",
    key="hydrant_id",
    columns=(
        _AREA,
        _AREA_TITLE,
        _ID,
        _ADDRESS,
        _FAMILY,
        *_CHECKED_IN_JOB,
        _P_AFTER,
        c.real("unit_cost", "Kit cost", "Of one kit, in the money of the catalogue.", 0),
    ),
    geometry="Point",
)


ISOLATION = Table(
    name="isolation",
    title="Isolating valves",
    about="The valve that isolates the hydrant of each job, as far as it is drawn.",
    key="hydrant_id",
    columns=(
        _ID,
        c.text("valve_id", "Valve", "The utility's own number of the branch valve."),
        c.feet("distance_ft", "Distance", "From the hydrant.", 0),
        c.text("direction", "Direction", "From the hydrant, grid north up."),
        VALVES["size_in"],
        VALVES["turns"],
        c.real("turns_least", "Turns, least", "That are usual for the size.", 0),
        c.real("turns_most", "Turns, most", "That are usual for the size.", 0),
        c.text("main_valves", "Main valves", "The nearest ones, where no branch valve is known."),
        c.text("note", "Note", "What is to be done on site."),
    ),
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
    "regrade": _list("to_regrade", "To regrade", "Hydrants to which the ground is raised."),
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
        c.whole("hydrants", "Hydrants", "All that are in the area."),
        c.whole("not_judged", "Not judged", "No dry barrel, or retired."),
        c.whole("measured", "Measured", "With a reading, unresolved ones included."),
        *(c.whole(v, v.capitalize(), f"Verdict `{v}`.") for v in VERDICTS),
        c.whole("jobs", "Kit jobs", "Remedy extend, exchange or remove."),
        c.whole("kits", "Kits", "To be fitted."),
        *(c.whole(f"to_{r}", f"To {r}", f"Remedy `{r}`.") for r in OTHER_LISTS),
    ),
)

AREA_FIGURES = Table(
    name="area_figures",
    title="Areas with figures",
    about="How the hydrants of each area stand and what they need, on its polygon.",
    key="area_id",
    columns=(
        *AREA_TOTALS.columns,
        c.share("inside_share", "Share inside", "Of the measured ones; blank where none is."),
    ),
    geometry="MultiPolygon",
)

REMEDY_LAYER = Table(
    name="remedies",
    title="Remedies",
    about="The hydrants that need something, and what.",
    key="hydrant_id",
    columns=tuple(
        CHECKED[name]
        for name in (
            "hydrant_id", "area_id", "remedy", "remedy_reason", "verdict", "outlet_height_in",
            "kit_id", "kit_length_in", "raise_in", "outlet_height_after_in",
            "flange_height_after_in", "bury_ft", "bury_after_ft",
        )
    ),
    geometry="Point",
)  # fmt: skip

KIT_TOTALS = Table(
    name="kit_totals",
    title="Kits by area, family and length",
    about="What to order.",
    key="kit_id",
    columns=(
        _AREA,
        _FAMILY,
        c.text("kit_id", "Kit", "The kit."),
        c.inches("kit_length_in", "Kit length", "Its length."),
        c.whole("kits", "Kits", "How many."),
        c.real("unit_cost", "Kit cost", "Of one, in the money of the catalogue.", 0),
        c.real("cost", "Cost", "Of all of them.", 0),
    ),
)

SWEEP = Table(
    name="sweep",
    title="Under other windows",
    about="How the hydrants stand and what they need as the ends of the window move.",
    key="window_lo_in",
    columns=(
        CHECKED["window_lo_in"],
        CHECKED["window_hi_in"],
        c.flag("is_now", "Now", "The window of the rule as it is."),
        *(c.whole(v, v.capitalize(), f"Verdict `{v}`.") for v in VERDICTS),
        c.whole("changed", "Change verdict", "Other than under the rule as it is."),
        c.whole("leaves", "Leave", "Inside now and not then."),
        c.whole("enters", "Enter", "Outside now and inside then."),
        c.whole("jobs", "Kit jobs", "Remedy extend, exchange or remove."),
        c.whole("kits", "Kits", "To be fitted."),
        c.real("kits_cost", "Kits cost", "Of those with a price; blank where none has.", 0),
        c.whole("kits_unpriced", "Kits without a price", "Not in that cost."),
        *(c.whole(f"to_{r}", f"To {r}", f"Remedy `{r}`.") for r in OTHER_LISTS),
    ),
)
