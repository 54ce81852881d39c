"""
What the command says of a season: lists, orders, calendar, edits, two plans.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.cli.talk import grid, put

if TYPE_CHECKING:
    from typing import Any

    from hydrantgis.job import Adopted, Checked, Planned, Versus
    from hydrantgis.season.lists import Season

_MOST_ROWS = 20


def put_season(season: Season, orders: pd.DataFrame | None, money: str | None) -> None:
    """Write the lists by area, and what to order: for all jobs, or for those of a season."""
    areas = season.area_totals
    put()
    put("By area")
    names = ["jobs", "kits", "to_measure", "to_replace", "to_lower", "to_regrade", "to_review"]
    title = areas["area_title"].fillna("")
    rows: list[tuple[str, ...]] = [("area", "", "hydrants", *(n.replace("_", " ") for n in names))]
    cells = [areas[n].astype("str") for n in ("hydrants", *names)]
    rows += list(zip(areas["area_id"].fillna("(none)"), title, *cells, strict=True))
    rows.append(("all", "", *(str(int(areas[n].sum())) for n in ("hydrants", *names))))
    grid(rows, right=range(2, 10))
    put()
    put("To order for all jobs" if orders is None else "To order for the season")
    _put_orders(season.orders if orders is None else orders, money)


def _put_orders(orders: pd.DataFrame, money: str | None) -> None:
    if not len(orders):
        put("  nothing")
        put()
        return
    kits = orders[orders["item"] == "kit"]
    waiting = int(kits["waiting"].sum())
    if waiting:
        first = orders["measure_by"].dropna()
        by = f", the first by {first.min():%Y-%m-%d}" if len(first) else ""
        put(f"  of these, {waiting:,} wait until the flange has been measured{by} (see the visits)")
    blank = orders["family"].where(orders["item"] == "kit", "")
    family = blank.fillna("(family not recorded)").map(_few_families)
    bury = orders["bury_to_order_ft"].map("hydrant, bury {:g} ft".format, na_action="ignore")
    columns = {
        "family": family.where(orders["item"] != "hydrant", orders["family"].fillna("")),
        "item": orders["kit_id"].fillna(bury).fillna(""),
        "needed": _said(orders["kits"]),
        "waiting": _said(orders["waiting"]),
    }
    if orders["on_hand"].notna().any():
        columns["on hand"] = _said(orders["on_hand"]).where(orders["on_hand"].notna(), "?")
    if orders["spares"].gt(0).any():
        columns["spares"] = _said(orders["spares"])
    columns["to order"] = _said(orders["to_order"])
    if orders["order_by"].notna().any():
        columns["order by"] = orders["order_by"].dt.strftime("%Y-%m-%d").fillna("")
    priced = orders["unit_cost"].notna().any()
    if priced:
        cost = orders["cost"].map("{:,.2f}".format).where(orders["cost"].notna(), "?")
        columns[f"cost {money or ''}".strip()] = cost
    rows: list[tuple[str, ...]] = [tuple(columns), *zip(*columns.values(), strict=True)]
    sums = {"family": "all kits", "needed": f"{int(kits['kits'].sum()):,}",
            "waiting": f"{waiting:,}", "to order": f"{int(kits['to_order'].sum()):,}"}  # fmt: skip
    if priced:
        sums[rows[0][-1]] = f"{kits['cost'].sum():,.2f}"
    rows.append(tuple(sums.get(name, "") for name in columns))
    grid(rows, right=range(2, len(columns)))
    bare = int(kits["unit_cost"].isna().sum())
    if priced and bare:
        put(f"  {bare:,} of these have no price and are not in the sum")
    put()


def _said(values: pd.Series, form: str = "{:,}") -> pd.Series:
    """Figures as text; blank where there is none."""
    pairs = zip(values, values.isna(), strict=True)
    told = ["" if missing else form.format(value) for value, missing in pairs]
    return pd.Series(told, index=values.index, dtype="str")


def _few_families(names: str) -> str:
    """Families that share a kit, the first two of many."""
    each = names.split(" / ")
    return names if len(each) <= 3 else f"{', '.join(each[:2])} and {len(each) - 2} more"


def put_planned(planned: Planned, curve: pd.DataFrame | None) -> None:
    """Write what a season does."""
    told, words, table = planned.selected, planned.words, planned.selection
    put(f"Season {words.season_id}: {words.title}, {words.starts_on} to {words.ends_on}")
    if planned.why_none:
        put("  no plan:")
        for reason in planned.why_none:
            put(f"    {reason}")
        put()
        return
    days, many = planned.crew_days, len(planned.calendar)
    drive = float(days["drive_hours"].sum())
    rows = [
        ("jobs", f"{many:,} of {len(table):,}",
         f"in {planned.calendar['area_id'].nunique()} areas"),
        ("priority", f"{planned.priority:,.1f} of {table['priority'].sum():,.1f}",
         f"no choice could have more than {told.bound:,.1f} with that much driving; greedy has "
         f"{told.by_greedy:,.1f}"),
        ("cost", f"{planned.cost:,.2f}", f"of {words.available:,.2f} {words.money}, "
         f"{words.contingency_share:.0%} of {words.budget:,.0f} kept back"),
        ("crew hours", f"{planned.hours:,.1f}", f"{drive:,.1f} of them driving, "
         f"{days['drive_ft'].sum() / 5280:,.0f} miles"),
        ("crew days", f"{len(days):,}", f"{days['work_date'].min():%Y-%m-%d} to "
         f"{days['work_date'].max():%Y-%m-%d}"),
        ("binding", ", ".join(told.binding) or "nothing", ""),
    ]  # fmt: skip
    grid(rows, right=(1,))
    left = table[~table["selected"].fillna(False)].groupby("why").size().sort_values()
    if len(left):
        put("Not in the season")
        grid([(f"{n:,}", why) for why, n in left[::-1].head(8).items()], right=(0,))
    kits = planned.orders[planned.orders["item"] == "kit"]
    spare = float((kits["spares"] * kits["unit_cost"]).sum())
    other = float(planned.orders["cost"].sum() - kits["cost"].sum())
    fitted = float((kits["kits"] * kits["unit_cost"]).sum())
    put(
        f"In that cost are kits for {fitted:,.2f}, on the shelf or not; spare kits for "
        f"{spare:,.2f} and what crews carry and use up for {other:,.2f} are not"
    )
    first = planned.orders["order_by"].dropna()
    if len(first):
        put(f"Order by {first.min():%Y-%m-%d} at the latest, the first of it")
    if curve is not None:
        _put_curve(curve, words.money)
    put()


def _put_curve(curve: pd.DataFrame, money: str) -> None:
    put("What money brings")
    rows = [("budget " + money, "jobs", "priority", "more per 1,000", "binding")]
    cells = [
        curve["budget"].map("{:,.0f}".format) + curve["is_now"].map({True: " (now)", False: ""}),
        curve["jobs"].map("{:,}".format), curve["priority"].map("{:,.1f}".format),
        _said(curve["priority_a_thousand"], "{:,.2f}"),
        curve["binding"].fillna(""),
    ]  # fmt: skip
    grid(rows + list(zip(*cells, strict=True)), right=range(4))


def put_edits(adopted: Adopted) -> None:
    """Write what became of a planner's entries."""
    edits = adopted.edits
    put("What the planner decided")
    if adopted.of_another:
        put("  the workbook was made from another check or season file; entries were tried on this")
    if not len(edits):
        put("  nothing")
        put()
        return
    rows = [("row", "hydrant", "entry", "outcome", "cost", "hours", "priority", "others", "")]
    figures = {"cost_change": "{:+,.2f}", "hours_change": "{:+,.2f}", "priority_change": "{:+,.2f}",
               "jobs_moved": "{:,}"}  # fmt: skip
    cells = [
        _said(edits["row"], "{}"), edits["hydrant_id"],
        edits["entry"] + " " + edits["value"].fillna("(cleared)").str.slice(0, 24),
        edits["outcome"],
        *(_said(edits[name], form)
          for name, form in figures.items()),
        edits["reason"].fillna("").str.slice(0, 90),
    ]  # fmt: skip
    grid(rows + list(zip(*cells, strict=True)), right=(0, 4, 5, 6, 7))
    before, after = adopted.before, adopted.planned
    put("  each alone, the plan without any chosen anew; all together")
    grid(
        [
            (name, f"{len(plan.calendar):,} jobs", f"priority {plan.priority:,.2f}",
             f"cost {plan.cost:,.2f}", f"{plan.hours:,.1f} crew hours")
            for name, plan in (("before", before), ("with all of it", after))
        ],
        indent=4,
    )  # fmt: skip
    counts = edits["outcome"].value_counts()
    put(f"  {', '.join(f'{n:,} {outcome}' for outcome, n in counts.items())}")
    put()


def put_versus(versus: Versus) -> None:
    """Write two plans side by side."""
    put("Two plans")
    figures = versus.figures
    change = _said(figures["change"], "{:+,.2f}")
    change = change.str.replace(".00", "", regex=False).replace("+0", "")
    rows = [("", "A", "B", "B less A")]
    rows += list(zip(figures["figure"], figures["plan_a"], figures["plan_b"], change, strict=True))
    grid(rows, right=(1, 2, 3))
    jobs = versus.jobs
    only_a = jobs[jobs["in_a"] & ~jobs["in_b"]]["hydrant_id"]
    only_b = jobs[jobs["in_b"] & ~jobs["in_a"]]["hydrant_id"]
    for name, ids in (("only in A", only_a), ("only in B", only_b)):
        told = ", ".join(ids.head(_MOST_ROWS)) + (" ..." if len(ids) > _MOST_ROWS else "")
        put(f"  {len(ids):,} jobs {name}{': ' if len(ids) else ''}{told}")
    both = int((jobs["in_a"] & jobs["in_b"]).sum())
    put(f"  {both:,} jobs in both with another remedy or kit")
    put()


def season_json(season: Season, result: Checked) -> dict[str, Any]:
    """The lists as JSON holds them."""
    return {
        "rule": result.rule.rule_id,
        "jobs": len(season.jobs),
        "areas": _records(season.area_totals),
        "kits": _records(season.kit_totals),
        "orders": _records(season.orders),
        "money": result.kits.money,
    }


def planned_json(
    planned: Planned,
    curve: pd.DataFrame | None,
    adopted: Adopted | None,
    versus: Versus | None,
) -> dict[str, Any]:
    """A season as JSON holds it."""
    told, left = planned.selected, ~planned.selection["selected"].fillna(False)
    return {
        "season": planned.words.season_id, "jobs": len(planned.selection),
        "selected": len(planned.calendar), "priority": planned.priority, "cost": planned.cost,
        "available": planned.words.available, "hours": planned.hours,
        "crew_days": _records(planned.crew_days), "calendar": _records(planned.calendar),
        "orders": _records(planned.orders), "unpriced": planned.unpriced,
        "choice": {
            "priority": told.value, "bound": told.bound, "gap": told.gap,
            "by_greedy": told.by_greedy, "binding": list(told.binding),
        },
        "why_none": list(planned.why_none),
        "left_out": planned.selection[left].groupby("why").size().to_dict(),
        "findings": planned.findings.groupby("code").size().to_dict(),
        "curve": None if curve is None else _records(curve),
        "edits": None if adopted is None else _records(adopted.edits),
        "edits_of_another_plan": None if adopted is None else adopted.of_another,
        "versus": None if versus is None else {
            "figures": _records(versus.figures), "jobs": _records(versus.jobs),
        },
    }  # fmt: skip


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a table, without its geometry."""
    plain = pd.DataFrame(frame.drop(columns="geometry", errors="ignore"))
    days = plain.select_dtypes("datetime").columns
    plain = plain.assign(**{day: plain[day].dt.strftime("%Y-%m-%d") for day in days})
    told: list[dict[str, Any]] = json.loads(plain.to_json(orient="records"))
    return told
