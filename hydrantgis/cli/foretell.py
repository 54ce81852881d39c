"""
The command `scenario`: verdict and remedy over the grade to come.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.judge import outlet_said, put_caution, typed
from hydrantgis.cli.talk import DATA_ERRORS, grid, has_errors, put, put_findings, put_json, teller

if TYPE_CHECKING:
    from hydrantgis.job import Foretold, Swept

_EFFECT_WORDS = {
    "leaves": "leave the window",
    "enters": "enter the window",
    "stays out": "stay out of it",
    "stays inside": "stay inside it",
    "not told": "not told",
}
_MOST_TOLD = 12


def scenario(
    surface: Annotated[
        str | None, typer.Option(help="A design surface of the register; else planned works.")
    ] = None,
    work: Annotated[
        list[str] | None,
        typer.Option(help="Id of a work; can be repeated. All planned if left out."),
    ] = None,
    window: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LO:HI",
            help="Another window in inches, in place of works: 15:24, 18: or 15-18:24. Repeatable.",
        ),
    ] = None,
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    out: o.Out = Path("hydrantgis-scenario"),
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Verdict and remedy for every hydrant over the grade to come, or under other windows.

    Which hydrants leave the window when planned works or a design are built, which kit each will
    need then, and which jobs planned now become wrong. Writes OUT/scenario.gpkg with layers
    scenario and provenance; the register stays as it is.

    With --window the grade stays and the window moves: how many hydrants change verdict, which
    kits that takes and what they cost, as OUT/sweep.csv and a chart, OUT/sweep.png and .svg.

    \b
    Example:
      hydrantgis import overlay.gpkg --as works --unit change_in=in
      hydrantgis scenario --rule nfpa24-2019 --kits generic
      hydrantgis scenario --surface elm-street --rule nfpa24-2019 --kits generic
      hydrantgis scenario --rule nfpa24-2019 --kits our-kits.toml --window 15:24 --window 18:30
    """
    from hydrantgis import job

    if window:
        _refuse_both(surface, work)
        windows = job.windows_of(window)
        now = job.check(
            register, rule=rule, kits=kits, outlet=outlet_said(outlet), command=typed(),
            tell=teller(quiet=quiet),
        )  # fmt: skip
        _say_swept(job.sweep(now, windows), None if dry_run else out, as_json=as_json)
        return
    told = job.scenario(
        register, surface=surface, works=work or None, rule=rule, kits=kits,
        outlet=outlet_said(outlet), command=typed(), tell=teller(quiet=quiet),
    )  # fmt: skip
    path = out / "scenario.gpkg"
    if not dry_run:
        told.write(path)
    if as_json:
        put_json({
            "grade_to_come": told.title,
            "rule": told.now.rule.rule_id,
            "counts": told.counts(),
            "leaves": told.table["hydrant_id"][told.table["effect"] == "leaves"].tolist(),
            "jobs_wrong": told.table["hydrant_id"][told.table["job_wrong"]].tolist(),
            "file": None if dry_run else str(path),
        })  # fmt: skip
    else:
        _put(told)
        put_findings(told.findings)
        put("nothing was written (dry run)" if dry_run else f"Results: {path}")
        put_caution()
    if strict and has_errors(told.findings):
        raise typer.Exit(DATA_ERRORS)


def _refuse_both(surface: str | None, work: list[str] | None) -> None:
    from hydrantgis.ground.errors import WordsError

    if surface is not None or work:
        raise WordsError("windows and a change of grade are named", do="name the one or the other")


def _say_swept(told: Swept, out: Path | None, *, as_json: bool) -> None:
    paths = [] if out is None else told.write(out)
    table, money = told.table, told.now.kits.money
    if as_json:
        rows = json.loads(table.to_json(orient="records"))
        put_json({"rule": told.now.rule.rule_id, "money": money, "windows": rows,
                  "files": [str(path) for path in paths]})  # fmt: skip
        return
    put(f"Rule {told.now.rule.rule_id}: {told.now.rule}")
    put(f"Kits {told.now.kits.catalogue_id}; {told.now.kits.house}")
    put()
    names = ("inside", "low", "high", "unresolved", "changed", "leaves", "enters", "kits")
    others = ("to_replace", "to_lower", "to_regrade", "to_review")
    cost = () if money is None else (f"cost {money}",)
    lines: list[tuple[str, ...]] = [
        ("window in", *names, *cost, *(n.removeprefix("to_") for n in others))
    ]
    for row in table.to_dict("records"):
        ends = [_end(row["window_lo_in"], "any"), _end(row["window_hi_in"], "any")]
        mark = " (now)" if row["is_now"] else ""
        money_cell = () if money is None else (_end(row["kits_cost"], "", ",.2f"),)
        lines.append(
            (
                f"{ends[0]} to {ends[1]}{mark}", *(f"{row[n]:,}" for n in names), *money_cell,
                *(f"{row[n]:,}" for n in others),
            )
        )  # fmt: skip
    grid(lines, right=range(1, len(lines[0])))
    if money is not None:
        put("  cost: of all kits, those on the shelf too")
    bare = int(table["kits_unpriced"].max())
    if bare and money is not None:
        put(f"  up to {bare:,} kits have no price and are not in the cost")
    put()
    put("nothing was written (dry run)" if out is None else f"Results: {out}")
    put_caution()


def _end(value: float | None, none: str, form: str = "g") -> str:
    return none if value is None or value != value else f"{value:{form}}"


def _put(told: Foretold) -> None:
    counts = told.counts()
    put(f"Grade to come: {told.title}")
    put(f"Rule {told.now.rule.rule_id}: {told.now.rule}")
    put()
    rows = [
        ("hydrants", f"{counts['hydrants']:,}", ""),
        ("  on changed grade", f"{counts['on_changed_grade']:,}", ""),
        (
            "  change not known",
            f"{counts['change_not_known']:,}",
            "the grade as it is is not known",
        ),
        *((f"  {words}", f"{counts[effect]:,}", "") for effect, words in _EFFECT_WORDS.items()),
        ("  marginal then", f"{counts['marginal_then']:,}", "of those on changed grade"),
        ("jobs that become wrong", f"{counts['jobs_wrong']:,}", "planned now, another serves then"),
    ]
    grid(rows, right=(1,))
    put()
    table = told.table
    some = table[(table["effect"] == "leaves") | table["job_wrong"]].head(_MOST_TOLD)
    if not len(some):
        return
    heading = ("hydrant", "grade", "height", "then", "verdict", "then", "remedy", "then")
    grid(
        [
            heading,
            *(
                (
                    row["hydrant_id"], f"{row['grade_change_in']:+.1f} in",
                    f"{row['outlet_height_in']:.1f}", f"{row['outlet_height_then_in']:.1f}",
                    row["verdict"], row["verdict_then"],
                    _kit(row["remedy"], row["kit_id"]),
                    _kit(row["remedy_then"], row["kit_then_id"]),
                )
                for row in some.to_dict(orient="records")  # a dozen
            ),
        ],
        right=(1, 2, 3),
    )  # fmt: skip
    more = int(((table["effect"] == "leaves") | table["job_wrong"]).sum()) - len(some)
    if more > 0:
        put(f"  and {more:,} more in the layer `scenario`")
    put()


def _kit(remedy: str, kit: object) -> str:
    return f"{remedy} {kit}" if isinstance(kit, str) else remedy
