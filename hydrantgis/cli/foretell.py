"""
The command `scenario`: verdict and remedy over the grade to come.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.judge import outlet_said, put_caution, typed
from hydrantgis.cli.talk import DATA_ERRORS, grid, has_errors, put, put_findings, put_json, teller

if TYPE_CHECKING:
    from hydrantgis.job import Foretold

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
    Verdict and remedy for every hydrant over the grade to come.

    Which hydrants leave the window when planned works or a design are built, which kit each will
    need then, and which jobs planned now become wrong. Writes OUT/scenario.gpkg with layers
    scenario and provenance; the register stays as it is.

    \b
    Example:
      hydrantgis import overlay.gpkg --as works --unit change_in=in
      hydrantgis scenario --rule nfpa24-2019 --kits generic
      hydrantgis scenario --surface elm-street --rule nfpa24-2019 --kits generic
    """
    from hydrantgis import job

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
