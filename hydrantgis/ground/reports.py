"""
Every table that a report tells, declared once.
"""

from __future__ import annotations

from hydrantgis.ground import columns as c
from hydrantgis.ground.results import AREA_FIGURES, AREA_TOTALS, CHECKED, VERDICTS
from hydrantgis.ground.table import Table
from hydrantgis.ground.tables import AREAS, HYDRANTS

BESIDE_WHOLE = ("below the whole", "above the whole", "like the whole", "none measured")
MEASURED_VERDICTS = VERDICTS[:4]
"""Verdicts that rest on a reading."""

_SHARE = AREA_FIGURES["inside_share"]
_LOW = c.share("share_low", "Share, from", "Lower end of its 95 % interval (Wilson 1927).")
_HIGH = c.share("share_high", "Share, to", "Upper end of that interval.")
_VERDICTS = tuple(AREA_TOTALS[name] for name in VERDICTS)
_MEASURED = tuple(AREA_TOTALS[name] for name in MEASURED_VERDICTS)
_TO_DO = tuple(column for column in AREA_TOTALS.columns if column.name.startswith("to_"))

REPORT_FIGURES = Table(
    name="report_figures",
    title="Figures",
    about="Every figure of the first page: of what, without what, from which data, rule and day.",
    key="figure",
    columns=(
        c.text("figure", "Figure", "What it tells.", required=True),
        c.real("numerator", "Numerator", "How many, or how much."),
        c.real("denominator", "Denominator", "Of how many; blank where it is no share."),
        c.real("value", "Value", "Numerator over denominator, or the numerator alone."),
        c.text("unit", "Unit", "Of the value."),
        c.text("left_out", "Left out", "What does not count in it."),
        c.text("data", "From", "The data that it rests on."),
        CHECKED["rule_id"],
        c.date("as_of", "As of", "The day of the data."),
    ),
)

AREA_SHARES = Table(
    name="area_shares",
    title="Areas beside the whole",
    about="The share inside of each area, how sure it is, and how it stands beside that of all.",
    key="area_id",
    columns=(
        *(AREA_TOTALS[name] for name in ("area_id", "area_title", "hydrants", "not_judged")),
        AREA_TOTALS["measured"],
        *_VERDICTS,
        c.whole("stale", "Stale", "Measured ones whose reading is stale."),
        _SHARE,
        _LOW,
        _HIGH,
        c.text("beside", "Beside the whole", "Where that interval lies.", *BESIDE_WHOLE),
        c.real("expected_inside", "Expected inside", "By the probabilities of the readings.", 0),
        c.real("expected_sd", "Standard uncertainty", "Of that count, by the readings alone.", 0),
        AREA_TOTALS["jobs"],
        AREA_TOTALS["kits"],
        *_TO_DO,
    ),
)

FAMILY_FIGURES = Table(
    name="family_figures",
    title="By maker's family",
    about="How the hydrants of each family stand and what they need.",
    key="family",
    columns=(
        HYDRANTS["family"],
        *(AREA_TOTALS[name] for name in ("hydrants", "not_judged", "measured")),
        *_VERDICTS,
        _SHARE,
        _LOW,
        _HIGH,
        AREA_TOTALS["jobs"],
        AREA_TOTALS["kits"],
        *_TO_DO,
    ),
)

REMEDY_FIGURES = Table(
    name="remedy_figures",
    title="By remedy",
    about="What the hydrants need, and how much of it the season does.",
    key="remedy",
    columns=(
        CHECKED["remedy"],
        c.whole("hydrants", "Hydrants", "That need it."),
        c.whole("kits", "Kits", "To be fitted."),
        c.real("kits_cost", "Kits cost", "Of those with a price.", 0),
        c.whole("kits_unpriced", "Kits without a price", "Not in that cost."),
        c.whole("in_season", "In the season", "Blank where none is planned."),
        c.whole("left", "Left", "For later seasons; blank where none is planned."),
        c.real("season_cost", "Their cost", "Of those in the season, driving left out.", 0),
    ),
)

WORST = Table(
    name="worst",
    title="Farthest out",
    about="Hydrants that stand farthest out of the window, by heights that need no second look.",
    key="hydrant_id",
    columns=(
        c.whole("rank", "Rank", "1 is the farthest."),
        HYDRANTS["hydrant_id"],
        HYDRANTS["address"],
        CHECKED["area_id"],
        AREAS["area_title"],
        CHECKED["verdict"],
        CHECKED["outlet_height_in"],
        c.inches("out_in", "Out by", "From the nearer limit.", 0),
        CHECKED["height_sd_in"],
        CHECKED["reading_date"],
        CHECKED["remedy"],
        CHECKED["kit_id"],
        c.date("work_date", "Planned on", "Blank where the season does not do it."),
    ),
)

HEIGHT_BINS = Table(
    name="height_bins",
    title="Heights",
    about="How many measured hydrants stand at which height, by verdict.",
    key="from_in",
    columns=(
        c.inches("from_in", "From", "Included; blank in the row of all that is lower."),
        c.inches("to_in", "To", "Not included, but for the end of the window; blank as above."),
        *_MEASURED,
    ),
)

TREND = Table(
    name="trend",
    title="Trend",
    about="The same hydrants, season by season: those that were measured in every one shown.",
    key="season_year",
    columns=(
        c.whole("season_year", "Season", "The year in which they were measured."),
        c.whole("hydrants", "Hydrants", "The same in every row."),
        *_MEASURED,
        _SHARE,
        _LOW,
        _HIGH,
        c.whole("measured_then", "Measured in all", "In that year, in the cohort or not."),
    ),
)

DONE = Table(
    name="done",
    title="Planned and done",
    about="What the history tells as done, by year, and what of the season's plan that is.",
    key="season_year",
    columns=(
        c.whole("season_year", "Year", "In which it was done; blank where no day is told."),
        c.whole("extended", "Extended", "Hydrants that got a kit."),
        c.whole("closed_out", "Closed out", "Hydrants whose job was closed."),
        c.whole(
            "of_plan", "Of the plan", "Hydrants of both that the season plans, done since then."
        ),
    ),
)

REPORT_TABLES = (
    REPORT_FIGURES, AREA_SHARES, FAMILY_FIGURES, REMEDY_FIGURES, WORST, HEIGHT_BINS, TREND, DONE,
)  # fmt: skip
"""Every table of a report, in its order."""
