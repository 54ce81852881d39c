"""
The first page of a report: what somebody who decides has to know, in a minute.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from hydrantgis.assess.shares import CONFIDENCE, EXPANDED, bounds_of_all, wilson
from hydrantgis.deliver.charts import svg_of
from hydrantgis.deliver.looks import share_in_words
from hydrantgis.deliver.reportblocks import (
    Beside,
    Card,
    Cards,
    Chart,
    Heading,
    NewPage,
    Pages,
    Words,
    grid_of,
    percent,
)
from hydrantgis.deliver.reportcharts import heights_chart
from hydrantgis.ground.reports import MEASURED_VERDICTS, WORST
from hydrantgis.job.reportdetail import detail
from hydrantgis.job.reportfigures import STALE_MEANS, facts_of, readings_in_words
from hydrantgis.job.reportparts import MOST_AREAS, areas_chart, many, share_of
from hydrantgis.season.figures import expected_inside
from hydrantgis.standards.load import cautions

if TYPE_CHECKING:
    from hydrantgis.deliver.reportblocks import Block
    from hydrantgis.job.reportfigures import Fact
    from hydrantgis.job.reporting import Report
    from hydrantgis.job.seasoning import Planned


def pages_of(told: Report) -> Pages:
    """
    A report as blocks, for every page that it is set on.

    Parameters
    ----------
    told
        From `hydrantgis.job.reporting.report`.
    """
    result = told.result
    under = (
        f"As of {result.moment:%Y-%m-%d}; {readings_in_words(told)}; "
        f"{many(result.counts()['hydrants'], 'hydrant')}, {many(len(result.areas), 'area')}",
        f"Rule {result.rule.rule_id}: {result.rule}. {result.rule.citation}",
    )
    foot = (
        f"{told.title}. As of {result.moment:%Y-%m-%d}, rule {result.rule.rule_id}. "
        + (cautions()[0])
    )
    blocks = (*first_page(told), NewPage(), *detail(told))
    return Pages(title=told.title, under=under, foot=foot, blocks=blocks)


def first_page(told: Report) -> list[Block]:
    """
    The first page.

    Parameters
    ----------
    told
        From `hydrantgis.job.reporting.report`.
    """
    facts, counts = facts_of(told), told.result.counts()
    if not counts["hydrants"]:
        return [Words("The register holds no hydrants yet, so there is nothing to tell.")]
    blocks: list[Block] = [_standing(facts, counts), Words(how_sure(told), note=True)]
    if counts["measured"]:
        blocks.append(Beside((_heights(told),), (_areas(told),), 0.5))
    blocks.append(Heading("What is left to do", 3))
    blocks += _left(told, facts)
    if len(told.worst):
        blocks.append(_worst(told))
    elif counts["measured"]:
        blocks.append(Words("No measured hydrant stands out of the window."))
    return blocks


def _standing(facts: dict[str, Fact], counts: dict[str, int]) -> Cards:
    inside, seen = facts["inside, of those measured"], facts["measured, of those judged"]
    out = facts["out of the window, of those measured"]
    dull, old = facts["unresolved, of those measured"], facts["stale, of those measured"]
    after = facts.get("inside, of those measured, after the season")
    then = "" if after is None else f" After the season, as planned: {percent(after.value)}."
    left_out = f" Not in it: {inside.left_out}." if inside.left_out else ""

    def many(fact: Fact) -> str:
        # where nothing is measured a nought would read like good news
        return f"{fact.numerator:,.0f}" if counts["measured"] else "\u2013"

    return Cards(
        (
            Card(percent(inside.value), "Inside, of those measured",
                 f"{share_in_words(counts)}.{left_out}{then}"),
            Card(many(out), "Out of the window",
                 f"{counts['low']:,} low, {counts['high']:,} high"),
            Card(percent(seen.value), "Measured", share_of(seen, "judged")),
            Card(many(old), "Stale", f"{share_of(old, 'measured')}: {STALE_MEANS}"),
            Card(many(dull), "Unresolved",
                 "measured, and the reading cannot tell; not counted as inside"),
        ),
        leads=True,
    )  # fmt: skip


def how_sure(told: Report) -> str:
    """How sure the share inside is, in words; why it is not known, where it is not."""
    counts = told.result.counts()
    measured, judged = counts["measured"], counts["hydrants"] - counts["not_judged"]
    if not judged:
        return "No hydrant is judged: none is a dry barrel in use."
    if not measured:
        return (
            f"None of the {judged:,} hydrants that are judged has a usable reading yet: no share, "
            "no heights and no worst ten can be told."
        )
    low, high = (float(end) for end in wilson(counts["inside"], measured))
    expected, sd = expected_inside(told.result.table)
    least, most = bounds_of_all(counts["inside"], measured, judged)
    unseen, none = judged - measured, _no_height(told)
    bare = f"; {none:,} of them have no height that answers the rule" if none else ""
    rest = (
        f" Whatever the {unseen:,} that are not measured are, {percent(least)} to {percent(most)} "
        f"of all {judged:,} judged are inside." if unseen else ""
    )  # fmt: skip
    return (
        f"How sure: as a sample, {percent(low)} to {percent(high)} ({percent(CONFIDENCE)} "
        f"interval). By what the readings leave open, {expected:,.0f} \u00b1 {EXPANDED * sd:,.0f} "
        f"of the {measured:,} measured are inside (k = {EXPANDED:g}){bare}.{rest}"
    )


def _no_height(told: Report) -> int:
    """How many were measured, and no reading of them answers the rule."""
    table = told.result.table
    seen = table["verdict"].isin(MEASURED_VERDICTS)
    return int((seen & table["outlet_height_in"].isna()).sum())


def _heights(told: Report) -> Chart | Words:
    bare = _no_height(told)
    if not len(told.bins):
        return Words("No reading answers what the rule asks for, so there are no heights to draw.")
    window, counts = told.result.rule.window, told.result.counts()
    alt = (
        f"Bars of the outlet heights of {counts['measured']:,} measured hydrants, window {window}. "
        f"Inside {counts['inside']:,}, low {counts['low']:,}, high {counts['high']:,}, unresolved "
        f"{counts['unresolved']:,}. The table of heights in the workbook has every bar."
    )
    drawn = heights_chart(told.bins, lo_in=window.lo_in, hi_in=window.hi_in)
    bins = told.bins
    ends = bins[list(MEASURED_VERDICTS)].sum(axis=1).to_numpy()
    beyond = [
        f"{words} {end:g} in: {count:,}"
        for words, end, count in (
            ("under", bins["to_in"].iloc[0], ends[0]),
            ("from", bins["from_in"].iloc[-1], ends[-1]),
        )
        if count
    ]
    note = f"All beyond in the bars at the ends, {', '.join(beyond)}." if beyond else ""
    if bare:
        note = f"{note} {bare:,} measured have no height that answers the rule.".strip()
    return Chart("Heights and the window", svg_of(drawn), alt, note)


def _areas(told: Report) -> Chart | Words:
    areas = told.areas
    if not areas["area_id"].notna().any():
        return Words("No areas are in the register, so the share is told for the whole alone.")
    shown = areas.sort_values("inside_share", kind="stable", na_position="last").head(MOST_AREAS)
    more = len(areas) - len(shown)
    title = "Areas beside the whole"
    return areas_chart(
        told, shown, title if not more else f"{title}: the {len(shown)} lowest of {len(areas)}",
        note="Diamond and bold line: the interval leaves out the share of all.",
    )  # fmt: skip


def _left(told: Report, facts: dict[str, Fact]) -> list[Block]:
    """Cards of the backlog, and what the season buys."""
    work, measure = facts["work to do"], facts["to measure"]
    kinds = told.remedies.set_index("remedy")["hydrants"]
    each = {"kit jobs": facts["kit jobs"].numerator} | {
        f"to {name}": int(kinds.get(name, 0)) for name in ("replace", "lower", "regrade", "review")
    }
    parts = ", ".join(f"{count:,.0f} {name}" for name, count in each.items() if count)
    cards = [
        Card(f"{work.numerator:,.0f}", "Hydrants with work to do", parts),
        Card(f"{measure.numerator:,.0f}", "To measure first", "not in the figures beside it"),
    ]
    planned, left = told.planned, told.backlog
    if planned is None or left is None:
        cost = facts.get("kits for all jobs")
        if cost is not None:
            cards.append(Card(f"{cost.numerator:,.0f} {cost.unit}", "Kits for all kit jobs",
                              f"not in it: {cost.left_out}"))  # fmt: skip
        none = "No season is planned, so what it takes in money and seasons is not told."
        return [Cards(tuple(cards)), Words(none, note=True)]
    money = planned.words.money
    rest = work.numerator - left.jobs
    uncosted = f"; nothing is told of the other {rest:,.0f}" if rest > 0 else ""
    cards.append(Card(
        f"{left.cost:,.0f} {money}", f"Cost of {left.jobs:,} of them",
        f"with crews, kits, driving and mobilisation{uncosted}",
    ))  # fmt: skip
    seasons = "never" if not math.isfinite(left.seasons) else f"{left.seasons:,.0f}"
    cards.append(Card(
        seasons, "Seasons at this budget",
        f"{left.budgets:.1f} times its money, {left.crews:.1f} times its crew hours; new ones not "
        "counted",
    ))  # fmt: skip
    return [Cards(tuple(cards)), *_buys(planned, facts)]


def _buys(planned: Planned, facts: dict[str, Fact]) -> list[Block]:
    words = planned.words
    if planned.why_none:
        return [Words(f"{words.title} plans nothing: {'; '.join(planned.why_none)}.")]
    jobs, cost = facts["jobs of the season"], facts["cost of the season"]
    before = facts["inside, of those measured"]
    after = facts["inside, of those measured, after the season"]
    kept = f"{percent(words.contingency_share)} of {words.budget:,.0f} kept back"
    return [
        Heading(f"What the season buys: {words.title}", 3),
        Cards(
            (
                Card(f"{percent(before.value)} \u2192 {percent(after.value)}",
                     "Inside, if all is done", share_of(after, "measured")),
                Card(f"{jobs.numerator:,.0f} of {jobs.denominator:,.0f}", "Jobs",
                     f"{len(planned.crew_days):,} crew days, {words.starts_on} to {words.ends_on}"),
                Card(f"{cost.numerator:,.0f} {words.money}", "Cost",
                     f"of {cost.denominator:,.0f}; {kept}"),
            )
        ),
    ]  # fmt: skip


def _worst(told: Report) -> Block:
    names = ["rank", "hydrant_id", "address", "area_id", "verdict", "outlet_height_in", "out_in",
             "reading_date", "remedy", "kit_id"]  # fmt: skip
    if told.planned is not None:
        names.append("work_date")
    count, table = len(told.worst), told.result.table
    doubted = int((table["verdict"].isin(["low", "high"]) & (table["remedy"] == "measure")).sum())
    note = "" if not doubted else (
        f"Without {doubted:,} that stand out by a height that has to be measured again first."
    )  # fmt: skip
    title = f"The {count} farthest out" if count > 1 else "The one that is out"
    heads = {"rank": "", "outlet_height_in": "Height [in]", "reading_date": "Read on",
             "work_date": "Planned"}  # fmt: skip
    return grid_of(WORST, told.worst, names, title=title, heads=heads, note=note)
