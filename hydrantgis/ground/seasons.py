"""
Every table that tells what a season does, declared once; and the list of all tables there are.
"""

from __future__ import annotations

from hydrantgis.ground import columns as c
from hydrantgis.ground.reports import REPORT_TABLES
from hydrantgis.ground.results import (
    ALTERNATIVES,
    AREA_FIGURES,
    AREA_TOTALS,
    CHECKED,
    DRIFTS,
    GRADES,
    ISOLATION,
    JOBS,
    KIT_TOTALS,
    OTHER_LISTS,
    OUTLET_HEIGHTS,
    REMEDY_LAYER,
    SCENARIO,
    SWEEP,
    VISITS,
)
from hydrantgis.ground.table import Table
from hydrantgis.ground.tables import (
    AREAS,
    CHANGES,
    EXCEPTIONS,
    FACILITIES,
    FINDINGS,
    HISTORY,
    HYDRANTS,
    IMPORTS,
    MAINS,
    PROVENANCE,
    READINGS,
    SETTINGS,
    SHOTS,
    STREETS,
    SURFACES,
    VALVES,
    WORKS,
)

ITEMS = ("kit", "hydrant", "repair kit", "consumable")
KIT_FROM = ("shelf", "order")
DECISIONS = ("include", "exclude")
OUTCOMES = ("adopted", "refused", "nothing to do", "noted")
TOLD_TO = ("fire department", "customers")

_ID, _ADDRESS = HYDRANTS["hydrant_id"], HYDRANTS["address"]
_AREA = CHECKED["area_id"]
_CREW = c.text("crew_id", "Crew", "Who does it.")
_DAY = c.date("work_date", "Day", "On which it is done.")
_WEEK = c.text("week", "Week", "Of the year, as ISO 8601 counts them.")
_COST = c.real("job_cost", "Job cost", "Kit, materials and crew, in the money of the season.", 0)
_HOURS = c.real("job_hours", "Crew hours", "Of the job, digging and the stop included.", 0)
_PRIORITY = c.real("priority", "Priority", "The weighted sum of its parts.", 0)
_NOTE = c.text("note", "Note", "Of the planner.")

SELECTION = Table(
    name="selection",
    title="Jobs of the season",
    about="Every job with its priority and its parts, and whether the season does it.",
    key="hydrant_id",
    columns=(
        _ID,
        _AREA,
        AREAS["area_title"],
        _ADDRESS,
        c.flag("selected", "Selected", "Whether the season does it."),
        c.text("why", "Why", "Why it is in or out."),
        _PRIORITY,
        c.share("severity", "Severity", "How far outside the window, and how surely."),
        c.share("protects", "Protects", "Whether a facility is near, and which."),
        c.share("alone", "Alone", "How far the next usable hydrant is."),
        c.share("flow", "Flow", "What it can deliver, by class."),
        c.share("age", "Age", "Of the reading."),
        c.text("priority_reasons", "Reasons", "The parts in words."),
        _COST,
        _HOURS,
        c.real("drive_hours_about", "Driving, about", "Its share of driving, as it was chosen.", 0),
        CHECKED["remedy"],
        CHECKED["kit_id"],
        CHECKED["outlet_height_in"],
        CHECKED["outlet_height_after_in"],
        CHECKED["reading_date"],
        _CREW,
        _DAY,
        _WEEK,
        c.text("decision", "Decision", "Of the planner.", *DECISIONS),
        c.text("asked_crew", "Crew asked", "By the planner; no other one does it."),
        c.text("asked_week", "Week asked", "By the planner; it is done in no other one."),
        _NOTE,
    ),
    geometry="Point",
)

CALENDAR = Table(
    name="calendar",
    title="Calendar",
    about="The jobs on their days, each day in the order of its stops.",
    key="hydrant_id",
    columns=(
        _DAY,
        _WEEK,
        _CREW,
        c.whole("stop", "Stop", "Order in the day of its crew, from 1."),
        _ID,
        _AREA,
        _ADDRESS,
        CHECKED["remedy"],
        CHECKED["kit_id"],
        c.text("kit_from", "Kit from", "Where its kit comes from.", *KIT_FROM),
        c.text("out_from", "Out from", "Out of service from then, on that day."),
        c.text("back_by", "Back by", "In service again by then."),
        _HOURS,
        c.feet("drive_ft", "Way", "From the stop before, or the depot.", 0),
        c.real("drive_hours", "Driving", "Of that way, in hours.", 0),
        c.text("way_by", "Way by", "Streets, or a straight line with a factor.", "streets", "line"),
        c.real("mobilisation_hours", "Mobilisation", "Before it, in hours: first in its area.", 0),
    ),
    geometry="Point",
)

CREW_DAYS = Table(
    name="crew_days",
    title="Days of the crews",
    about="What each crew does on each day that it goes out.",
    key="work_date",
    columns=(
        _DAY,
        _WEEK,
        _CREW,
        c.text("areas", "Areas", "In which it works."),
        c.whole("jobs", "Jobs", "On that day."),
        c.real("work_hours", "At work", "Hours of all its jobs.", 0),
        c.real("mobilisation_hours", "Mobilisation", "Hours, where it is first in an area.", 0),
        c.real("drive_hours", "Driving", "Hours, the way back to the depot included.", 0),
        c.feet("drive_ft", "Way", "All of it, the way back included.", 0),
        c.real("hours_there", "Hours there", "That the day has.", 0),
        c.text("back_at", "Back at", "At the depot."),
    ),
)

NOTICES = Table(
    name="notices",
    title="Notices",
    about="Who has to be told of which hydrant, by when.",
    key="hydrant_id",
    columns=(
        c.text("told_to", "To", "Who is told.", *TOLD_TO),
        _AREA,
        c.date("tell_by", "Tell by", "The last day for it."),
        c.date("out_on", "Out on", "Out of service on that day."),
        _ID,
        _ADDRESS,
        _CREW,
        c.text("out_line", "Out of service", "The line of the notice."),
        c.text("back_line", "Back in service", "The line that follows when it is back."),
    ),
)

ORDERS = Table(
    name="orders",
    title="To order",
    about="What jobs need, of all areas together, less what lies on the shelf.",
    key="kit_id",
    columns=(
        c.text("item", "Item", "What it is.", *ITEMS),
        HYDRANTS["family"],
        c.text("kit_id", "Kit or item", "By which it is ordered."),
        CHECKED["kit_length_in"],
        c.feet("bury_to_order_ft", "Bury to order", "Of a hydrant that is replaced."),
        c.whole("kits", "Needed", "For the jobs."),
        c.whole("on_hand", "On hand", "On the shelf; blank where the catalogue does not say."),
        c.whole("waiting", "Waiting", "Of those needed, some wait for the flange to be measured."),
        c.whole("spares", "Spares", "Beyond what jobs need."),
        c.whole("to_order", "To order", "What the shelf lacks; all where it is not known."),
        c.whole("lead_days", "Lead time", "From order to delivery, in days."),
        c.date("first_use", "First use", "The first day on which one is needed that is ordered."),
        c.date("order_by", "Order by", "The latest day for it."),
        c.date("measure_by", "Measure by", "The flanges that are waited for, before the order."),
        c.real("unit_cost", "Cost of one", "In the money of the catalogue or the season.", 0),
        c.real("cost", "Cost", "Of those to order.", 0),
        c.text("holds", "Holds", "What it is made of, as the catalogue says."),
    ),
)

CURVE = Table(
    name="curve",
    title="What money brings",
    about="The best choice under other budgets, the crews as they are.",
    key="budget",
    columns=(
        c.real("budget", "Budget", "Contingency included.", 0),
        c.flag("is_now", "Now", "The budget of the season."),
        c.real("cost", "Cost", "Of what it chooses.", 0),
        c.whole("jobs", "Jobs", "That it chooses."),
        _PRIORITY,
        c.real("priority_a_thousand", "Priority per 1,000", "That the last step of it brings."),
        c.real("jobs_a_thousand", "Jobs per 1,000", "That the last step of it brings."),
        c.real("gap", "Gap", "By which share a better choice could be better.", 0),
        c.text("binding", "Binding", "Limits that are used up."),
    ),
)

EDITS = Table(
    name="edits",
    title="What the planner changed",
    about="Every entry of a workbook that came back, and what became of it.",
    key="hydrant_id",
    columns=(
        c.whole("row", "Row", "Of the sheet."),
        _ID,
        c.text("entry", "Entry", "What was changed: decision, crew, week or note."),
        c.text("value", "Value", "To what."),
        c.text("outcome", "Outcome", "What became of it.", *OUTCOMES),
        c.text("reason", "Reason", "Why."),
        c.real("cost_change", "Cost", "What it alone does to the cost of the season."),
        c.real("hours_change", "Hours", "To its crew hours."),
        c.real("priority_change", "Priority", "To its priority."),
        c.whole("jobs_moved", "Others moved", "Other jobs that come in or go out with it."),
    ),
)

COMPARED = Table(
    name="compared",
    title="Two plans side by side",
    about="What one plan has and the other has not.",
    key="figure",
    columns=(
        c.text("figure", "Figure", "What is compared.", required=True),
        c.text("plan_a", "Plan A", "As it is told there."),
        c.text("plan_b", "Plan B", "As it is told there."),
        c.real("change", "Change", "B less A, where both are numbers or days."),
    ),
)

COMPARED_JOBS = Table(
    name="compared_jobs",
    title="Jobs that differ",
    about="Jobs that one of two plans does and the other does not, or does with another kit.",
    key="hydrant_id",
    columns=(
        _ID,
        _AREA,
        *(
            column
            for plan in ("a", "b")
            for column in (
                c.flag(f"in_{plan}", f"In {plan.upper()}", "Whether that plan does it."),
                c.date(f"work_date_{plan}", f"Day in {plan.upper()}", "On which it is done."),
                c.text(f"remedy_{plan}", f"Remedy in {plan.upper()}", "What is done."),
                c.text(f"kit_id_{plan}", f"Kit in {plan.upper()}", "The kit to fit."),
                c.text(f"why_{plan}", f"Why in {plan.upper()}", "Why it is in or out."),
            )
        ),
    ),
)

ALL_TABLES = (
    HYDRANTS, READINGS, SHOTS, AREAS, VALVES, MAINS, STREETS, FACILITIES, WORKS, SURFACES, HISTORY,
    IMPORTS, FINDINGS, EXCEPTIONS, CHANGES, CHECKED, OUTLET_HEIGHTS, ALTERNATIVES, GRADES, DRIFTS,
    VISITS, SCENARIO, PROVENANCE, SETTINGS, JOBS, *OTHER_LISTS.values(), AREA_TOTALS, KIT_TOTALS,
    AREA_FIGURES, REMEDY_LAYER,
    ISOLATION, SWEEP, SELECTION, CALENDAR, CREW_DAYS, NOTICES, ORDERS, CURVE, EDITS, COMPARED,
    COMPARED_JOBS, *REPORT_TABLES,
)  # fmt: skip
"""Every table there is."""
