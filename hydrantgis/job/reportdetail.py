"""
What follows the first page of a report: areas, remedies, families, windows, seasons, sources.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from hydrantgis.assess.shares import CONFIDENCE
from hydrantgis.deliver.charts import svg_of
from hydrantgis.deliver.reportblocks import Beside, Chart, Grid, Heading, Words, grid_of, percent
from hydrantgis.ground.reports import (
    AREA_SHARES,
    DONE,
    FAMILY_FIGURES,
    REMEDY_FIGURES,
    TREND,
)
from hydrantgis.ground.results import SWEEP
from hydrantgis.ground.seasons import CURVE
from hydrantgis.job.reportfigures import STALE_MEANS
from hydrantgis.job.reportparts import MOST_AREAS, areas_chart
from hydrantgis.season.trend import LEAST_COHORT
from hydrantgis.standards.load import cautions

if TYPE_CHECKING:
    from hydrantgis.deliver.reportblocks import Block
    from hydrantgis.job.reporting import Report

_VERDICTS = ("inside", "low", "high", "unresolved", "unmeasured")
_OTHERS = ("to_measure", "to_replace", "to_lower", "to_regrade", "to_review")
_HASH = r"\b([0-9a-f]{12})[0-9a-f]{52}\b"
_SHARES = ("inside_share", "share_low", "share_high")
_HEADS = {
    "area_id": "Area", "area_title": "", "inside_share": "Share\ninside",
    "share_low": "from", "share_high": "to", "expected_inside": "Expected\ninside",
    "expected_sd": "\u00b1",
}  # fmt: skip
_SHORT = {
    "kits_cost": "Kits cost", "to_measure": "Measure",
    "to_replace": "Replace", "to_lower": "Lower", "to_regrade": "Regrade", "to_review": "Review",
    "window_lo_in": "From [in]", "window_hi_in": "To [in]", "unresolved": "Un-\nresolved",
    "unmeasured": "Un-\nmeasured", "beside": "Beside\nthe whole", "changed": "Change\nverdict",
    "kits_unpriced": "No price", "in_season": "In the\nseason", "season_cost": "Their cost",
}  # fmt: skip


def detail(told: Report) -> list[Block]:
    """
    All that follows the first page.

    Parameters
    ----------
    told
        From `hydrantgis.job.reporting.report`.
    """
    if not len(told.result.table):
        return _rests_on(told)
    return [
        *_by_area(told), *_by_remedy(told), *_by_family(told), *_windows(told), *_money(told),
        *_trend(told), *_done(told), *_rests_on(told),
    ]  # fmt: skip


def _by_area(told: Report) -> list[Block]:
    areas = told.areas
    blocks: list[Block] = [Heading("By area")]
    if not areas["area_id"].notna().any():
        return [*blocks, Words("No areas are in the register.")]
    named = areas.assign(area_id=areas["area_id"].fillna("(none)"))
    counts = ("hydrants", "measured", *_VERDICTS, "stale")
    blocks.append(grid_of(
        AREA_SHARES, named, ["area_id", "area_title", *counts, *_SHARES, "beside"],
        title="How they stand", heads={**_HEADS, **_SHORT}, total=counts,
        note="Share: of the measured ones, with its 95 % interval. It is below or above the whole "
        "where the interval leaves out the share of all; of many areas one in twenty does so by "
        "chance alone. Hydrants that are not judged are neither measured nor unmeasured.",
    ))  # fmt: skip
    if len(areas) > MOST_AREAS:
        half = min((len(areas) + 1) // 2, 30)
        for start in range(0, len(areas), 2 * half):
            parts = [areas.iloc[at : at + half] for at in (start, start + half)]
            left, right = ((areas_chart(told, part, ""),) if len(part) else () for part in parts)
            blocks.append(Beside(left, right))
    needs = ("hydrants", "jobs", "kits", *_OTHERS)
    blocks.append(grid_of(
        AREA_SHARES, named, ["area_id", "area_title", *needs, "expected_inside", "expected_sd"],
        title="What they need", heads={**_HEADS, **_SHORT}, total=needs,
        note="Expected inside: by the readings' probabilities, with its standard uncertainty.",
    ))  # fmt: skip
    return blocks


def _by_remedy(told: Report) -> list[Block]:
    names = ["remedy", "hydrants", "kits"]
    money = told.result.kits.money
    note = "Costs: none are in the kit catalogue."
    if money is not None:
        names += ["kits_cost", "kits_unpriced"]
        note = f"Costs in {money}: {told.result.kits.cost_source}, {told.result.kits.cost_on}."
    if told.planned is not None:
        names += ["in_season", "left", "season_cost"]
        note += " Their cost: kits, materials and crews of the jobs in the season."
    total = [name for name in names[1:] if not told.remedies[name].isna().all()]
    return [
        Heading("By remedy"),
        grid_of(
            REMEDY_FIGURES, told.remedies, names, title="", heads=_SHORT, total=total, note=note
        ),
    ]


def _by_family(told: Report) -> list[Block]:
    families = told.families
    named = families.assign(family=families["family"].fillna("(not recorded)"))
    counts = ("hydrants", "measured", *_VERDICTS, "jobs", "kits", *_OTHERS[1:])
    names = ["family", *counts[:7], *_SHARES, *counts[7:]]
    return [
        Heading("By maker's family"),
        grid_of(
            FAMILY_FIGURES, named, names, title="", heads={**_HEADS, **_SHORT}, total=counts,
            note="Families as the hydrants have them recorded.",
        ),
    ]  # fmt: skip


def _windows(told: Report) -> list[Block]:
    table, rule = told.swept.table, told.result.rule
    blocks: list[Block] = [Heading("Under other windows")]
    if len(table) < 2:
        return [*blocks, Words("The rule has no window on the outlet, so none is moved.")]
    if not told.result.counts()["measured"]:
        return [*blocks, Words("No hydrant is measured, so another window changes nothing yet.")]
    names = ["window_lo_in", "window_hi_in", "inside", "low", "high", "unresolved", "changed",
             "jobs", "kits", *_OTHERS[1:]]  # fmt: skip
    if told.result.kits.money is not None:
        names.insert(9, "kits_cost")
    inside = ", ".join(
        f"{lo:g} to {hi:g} in {many:,}"
        for lo, hi, many in zip(
            table["window_lo_in"], table["window_hi_in"], table["inside"], strict=True
        )
    )
    alt = f"Verdicts under each window as parted bars. Inside: {inside}."
    return [
        *blocks,
        Words(f"What would change if the rule asked for another window; now it is {rule.window}. "
              "Heights, kits and house rules stay as they are.", keep=True),
        Chart("", svg_of(told.swept.chart()), alt),
        grid_of(SWEEP, table, names, title="The same as a table", heads=_SHORT,
                note="The first row is the rule as it is."),
    ]  # fmt: skip


def _money(told: Report) -> list[Block]:
    blocks: list[Block] = [Heading("What money brings")]
    if told.planned is None:
        return [*blocks, Words("No season is planned. Name its file with --season.")]
    if told.curve is None:
        return [*blocks, Words("What other budgets would bring was not asked for.")]
    from hydrantgis.deliver.curvechart import curve_chart

    words = told.planned.words
    each = ", ".join(
        f"{budget:,.0f} {jobs:,}"
        for budget, jobs in zip(told.curve["budget"], told.curve["jobs"], strict=True)
    )
    alt = f"Jobs and priority against the budget. Jobs at each budget in {words.money}: {each}."
    drawn = curve_chart(told.curve, title=words.title, money=words.money)
    names = ["budget", "is_now", "cost", "jobs", "priority", "binding"]
    return [
        *blocks,
        Chart("", svg_of(drawn), alt),
        grid_of(CURVE, told.curve, names, title="The same as a table",
                note=f"In {words.money}; {words.source}, {words.read_on}. Jobs as they are chosen, "
                "before they are put on days."),
    ]  # fmt: skip


def _trend(told: Report) -> list[Block]:
    blocks: list[Block] = [Heading("Season by season")]
    seen = "; ".join(f"{year}: {many:,}" for year, many in told.years.items() if many)
    measured = f" Measured in each year: {seen}." if seen else ""
    if not len(told.trend):
        return [*blocks, Words(
            f"No trend can be told: no two seasons have {LEAST_COHORT} hydrants or more that were "
            f"measured in both.{measured}"
        )]  # fmt: skip
    from hydrantgis.deliver.reportcharts import trend_chart

    table = told.trend
    many = int(table["hydrants"].iloc[0])
    each = ", ".join(
        f"{year} {percent(share)}"
        for year, share in zip(table["season_year"], table["inside_share"], strict=True)
    )
    alt = f"The share inside of the same {many:,} hydrants: {each}."
    names = ["season_year", "hydrants", "inside", "low", "high", "unresolved", *_SHARES,
             "measured_then"]  # fmt: skip
    return [
        *blocks,
        Words(f"The same {many:,} hydrants, measured in every season shown, under the rule as it "
              "is now and over the ground of their day. Others that were measured in some of the "
              "years are left out, so that a share does not move with whom crews went to see."),
        Beside((Chart("", svg_of(trend_chart(table)), alt),), ()),
        grid_of(TREND, table, names, title="", heads={**_HEADS, **_SHORT},
                note=f"Hydrants that are measured again may be those that move.{measured}"),
    ]  # fmt: skip


def _done(told: Report) -> list[Block]:
    blocks: list[Block] = [Heading("Planned and done")]
    planned = told.planned
    many = "" if planned is None else (
        f" {planned.words.title} plans {len(planned.calendar):,} jobs; none is told as done."
    )  # fmt: skip
    if not len(told.done):
        return [*blocks, Words(
            "The history of the register tells of no kit that was fitted and of no job that was "
            f"closed out, so nothing done can be set beside what is planned.{many}"
        )]  # fmt: skip
    plan = "" if planned is None else (
        f"{planned.words.title} plans {len(planned.calendar):,} jobs, of which "
        f"{int(told.done['of_plan'].sum()):,} are told as done."
    )  # fmt: skip
    grid = grid_of(DONE, told.done, ["season_year", "extended", "closed_out", "of_plan"], title="")
    return [*blocks, *([Words(plan)] if plan else []), grid]


def _rests_on(told: Report) -> list[Block]:
    result = told.result
    facts = result.provenance
    wanted = facts[
        facts["item"].str.match(r"(command|hydrantgis$|register|crs|rule|kits|house rule|source)")
        & ~facts["item"].str.startswith(("kits for", "rule sha256", "kits sha256"))
    ]
    # the workbook has the hashes whole
    told_value = wanted["value"].fillna("").str.replace(_HASH, "\\1\u2026", regex=True)
    rows = tuple(zip(wanted["item"].fillna(""), told_value, strict=True))
    return [
        Heading("How to read the figures"),
        *reading_help(),
        Heading("What it rests on"),
        Grid("", ("Item", "Value"), rows),
        Heading("Cautions"),
        Words("\n".join(cautions())),
    ]  # fmt: skip


def reading_help() -> list[Words]:
    """What the words and intervals of the figures mean."""
    return [
        Words(
            "Inside, low, high: the outlet's height against the window of the rule, limits "
            "allowed. Unresolved: measured, and the reading cannot tell, for it is too coarse "
            "or of another outlet; it counts as measured and not as inside. Marginal: the "
            "expanded uncertainty crosses a limit. Not judged: no dry barrel, or retired. "
            f"Stale: {STALE_MEANS}."
        ),
        Words(
            f"Intervals ({percent(CONFIDENCE)}; Wilson, E. B., Journal of the American "
            "Statistical Association 22 (1927), 209-212) read the measured hydrants as a "
            "sample drawn by lot from many more. That is an assumption: crews may have gone "
            "first to hydrants that looked bad. No correction is made for most of the "
            "hydrants being measured; so an interval tells what chance does to a group of "
            "that size, which is what areas are compared by, and is wider than need be as a "
            "statement on these hydrants alone."
        ),
        Words(
            "Beside it stands what the readings leave open: every height has a standard "
            "uncertainty, and with it a probability of being inside (normal; JCGM "
            "106:2012). Their sum is the count to be expected, the root of the sum of p (1 "
            "- p) its standard uncertainty, errors taken as independent of each other; a "
            "tape that reads wrong everywhere is not in it."
        ),
        Words(
            "Seasons at this budget: the cost of every job that the season could choose, "
            "with driving as it was guessed and one mobilisation an area, over the money "
            "that a season has less what is kept back; the same for crew hours; the more of "
            "the two, rounded up. Jobs that no season can do, and hydrants that leave "
            "their window meanwhile, are not in it, so it is the least."
        ),
    ]
