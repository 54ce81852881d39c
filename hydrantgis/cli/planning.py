"""
The command that plans a season: plan.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.judge import end, outlet_said, put_caution, typed
from hydrantgis.cli.talk import put, put_findings, put_json, teller

if TYPE_CHECKING:
    import pandas as pd

    from hydrantgis.job import Checked, Planned


def plan(
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    season_file: Annotated[
        Path | None, typer.Option("--season", help="TOML: money, crews, days, weights, limits.")
    ] = None,
    write_season: Annotated[
        Path | None, typer.Option(help="Begin a season file there, every key explained.")
    ] = None,
    adopt: Annotated[
        Path | None,
        typer.Option(help="Take what the planner decided in season.xlsx, and tell what it does."),
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(help="A second season file; both plans are put side by side."),
    ] = None,
    against_rule: Annotated[
        str | None,
        typer.Option(metavar="ID_OR_FILE", help="Another height rule, for the second plan."),
    ] = None,
    curve: Annotated[
        bool, typer.Option(help="What more or less money would bring, as table and chart.")
    ] = True,
    out: o.Out = Path("hydrantgis-season"),
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Next season's list by area: which hydrants, which kits, and what needs something else.

    Writes OUT/season.gpkg and each list as CSV with text ids. With --season the jobs of the highest
    priority within its limits are chosen, put on crew days, routed, and parts and notices listed;
    OUT/season.xlsx is the planner's workbook, and comes back with --adopt.

    \b
    Example:
      hydrantgis plan --rule nfpa24-2019 --kits generic --out season-2027
      hydrantgis plan --write-season season-2027.toml
      hydrantgis plan --kits our-kits.toml --season season-2027.toml --out season-2027
      hydrantgis plan --kits our-kits.toml --season season-2027.toml --adopt season.xlsx
      hydrantgis plan --kits our-kits.toml --season season-2027.toml --against more-money.toml
    """
    from hydrantgis import job
    from hydrantgis.cli import planned as screen
    from hydrantgis.ground.errors import WordsError

    if write_season is not None:
        _begin_season(write_season, dry_run=dry_run)
        return
    needs = {"--adopt": adopt, "--against": against, "--against-rule": against_rule}
    for word, value in needs.items():
        if value is not None and season_file is None:
            raise WordsError(f"{word} needs a season", do="name its file with --season")
    words = None if season_file is None else job.load_season(season_file)
    tell = teller(quiet=quiet)

    def checked(with_rule: str | None) -> Checked:
        return job.check(
            register, rule=with_rule, kits=kits, outlet=outlet_said(outlet), command=typed(),
            tell=tell,
        )  # fmt: skip

    result = checked(rule)
    season = job.plan(result)
    adopted = planned = table = versus = None
    if words is not None and adopt is not None:
        adopted = job.adopt_book(result, words, adopt, tell=tell)
        planned = adopted.planned
    elif words is not None:
        planned = job.plan_season(result, words, tell=tell)
    if planned is not None and curve:
        table = job.budget_curve(planned, tell=tell)
    if words is not None and planned is not None and (against or against_rule):
        second = result if against_rule is None else checked(against_rule)
        other_words = words if against is None else job.load_season(against)
        other = job.plan_season(second, other_words, tell=tell)
        versus = job.compare_plans(planned, result, other, second)
    paths: list[Path] = []
    if not dry_run:
        paths = job.write_season(
            season, out, result=result, planned=planned, curve=table,
            edits=None if adopted is None else adopted.edits,
        )  # fmt: skip
        paths += [] if versus is None else versus.write(out)
    if as_json:
        put_json(
            {
                **screen.season_json(season, result),
                "season": None
                if planned is None
                else screen.planned_json(planned, table, adopted, versus),
                "files": [str(path) for path in paths],
            }
        )
    else:
        put(f"Rule {result.rule.rule_id}: {result.rule}")
        screen.put_season(season, None if planned is None else planned.orders, result.kits.money)
        if planned is not None:
            screen.put_planned(planned, table)
        if adopted is not None:
            screen.put_edits(adopted)
        if versus is not None:
            screen.put_versus(versus)
        put_findings(season.findings if planned is None else _both(season.findings, planned))
        put("nothing was written (dry run)" if dry_run else f"Lists: {out}")
        put_caution()
    end(result, strict=strict, more=None if planned is None else planned.findings)


def _both(findings: pd.DataFrame, planned: Planned) -> pd.DataFrame:
    from hydrantgis.ground.findings import join_findings

    return join_findings(findings, planned.findings)


def _begin_season(path: Path, *, dry_run: bool) -> None:
    from hydrantgis.ground.errors import WordsError
    from hydrantgis.standards.load import template_of

    if path.exists():
        raise WordsError("there is a file of that name", where=str(path), do="name another")
    if not dry_run:
        path.write_text(template_of("season"), encoding="utf-8", newline="\n")
    put("nothing was written (dry run)" if dry_run else f"Season file: {path}")
