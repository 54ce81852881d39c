"""
The command that tells those who decide: report.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.judge import end, outlet_said, put_caution, typed
from hydrantgis.cli.talk import grid, put, put_json, teller

if TYPE_CHECKING:
    from typing import Any

    import pandas as pd

    from hydrantgis.job import Report


def report(
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    season_file: Annotated[
        Path | None,
        typer.Option("--season", help="TOML: what a season has; its plan is part of the report."),
    ] = None,
    window: Annotated[
        list[str] | None,
        typer.Option(metavar="LO:HI", help="Another window to be tried, in inches; repeatable."),
    ] = None,
    title: Annotated[
        str, typer.Option(help="What stands at the head of the report.")
    ] = "Hydrant heights",
    curve: Annotated[
        bool, typer.Option(help="What more or less money than the season's would bring.")
    ] = True,
    out: o.Out = Path("hydrantgis-report"),
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    The figures and charts for people who decide: a page, paper, and a workbook of all tables.

    Writes OUT/report.html, which opens without any network, OUT/report.pdf and OUT/report.xlsx.
    Every figure says of how many, what is left out, and from which data, rule and day. With
    --season it tells what is left to do in money and seasons, and what the season buys. Without
    --window each end of the window is moved by an inch or two, to show what another would change.

    \b
    Example:
      hydrantgis report --rule nfpa24-2019 --kits generic --out report
      hydrantgis report --kits our-kits.toml --season season-2027.toml --title "Our district"
      hydrantgis report --rule our-rule.toml --kits our-kits.toml --window 15:24 --json
    """
    from hydrantgis import job

    words = None if season_file is None else job.load_season(season_file)
    windows = None if not window else job.windows_of(window)
    tell = teller(quiet=quiet)
    result = job.check(
        register, rule=rule, kits=kits, outlet=outlet_said(outlet), command=typed(), tell=tell
    )
    season = job.plan(result)
    planned = None if words is None else job.plan_season(result, words, tell=tell)
    table = None if planned is None or not curve else job.budget_curve(planned, tell=tell)
    told = job.report(
        result, season=season, planned=planned, curve=table, register=register, windows=windows,
        title=title, tell=tell,
    )  # fmt: skip
    paths = [] if dry_run else job.save_report(told, out, tell=tell)
    figures = told.figures()
    if as_json:
        put_json({**_json(told, figures), "files": [str(path) for path in paths]})
    else:
        put(f"Rule {result.rule.rule_id}: {result.rule}")
        _put(figures)
        put("nothing was written (dry run)" if dry_run else f"Report: {paths[0]}")
        for path in paths[1:]:
            put(f"        {path}")
        put_caution()
    end(result, strict=strict, more=None if planned is None else planned.findings)


def _put(figures: pd.DataFrame) -> None:
    rows = [
        (
            name,
            f"{numerator:,.0f}" + ("" if whole != whole else f" of {whole:,.0f}"),
            f"{value:.0%}" if unit == "share" and value == value else "",
        )
        for name, numerator, whole, value, unit in zip(
            figures["figure"], figures["numerator"].tolist(), figures["denominator"].tolist(),
            figures["value"].tolist(), figures["unit"], strict=True,
        )
    ]  # fmt: skip
    put()
    grid(rows, right=(1, 2))
    put()


def _json(told: Report, figures: pd.DataFrame) -> dict[str, Any]:
    def rows(frame: pd.DataFrame) -> Any:  # noqa: ANN401 - what JSON can hold
        plain = frame.drop(columns="geometry", errors="ignore")
        return json.loads(plain.to_json(orient="records", date_format="iso", date_unit="s"))

    return {
        "title": told.title,
        "rule": told.result.rule.rule_id,
        "rule_in_words": str(told.result.rule),
        "kits": told.result.kits.catalogue_id,
        "as_of": told.result.moment.date().isoformat(),
        "season": None if told.planned is None else told.planned.words.season_id,
        "figures": rows(figures),
        **{table.name: rows(frame) for table, frame in told.tables()},
    }
