"""
The command that prints what crews are handed: sheets.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.judge import end, outlet_said, put_caution, typed
from hydrantgis.cli.talk import grid, put, put_findings, put_json, teller

if TYPE_CHECKING:
    import datetime as dt

    from hydrantgis.deliver.sheets import SheetBook


def sheets(
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    season_file: Annotated[
        Path | None, typer.Option("--season", help="TOML, as `plan` takes it; else by area.")
    ] = None,
    adopt: Annotated[
        Path | None, typer.Option(help="Take what the planner decided in season.xlsx.")
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(metavar="HYDRANT", help="Only this hydrant, whatever its job; once for each."),
    ] = None,
    day: Annotated[
        str | None, typer.Option(metavar="YYYY-MM-DD", help="Only what is planned on that day.")
    ] = None,
    area: Annotated[str | None, typer.Option(help="Only what lies in that area.")] = None,
    crew: Annotated[str | None, typer.Option(help="Only what is planned for that crew.")] = None,
    also: Annotated[
        list[str] | None,
        typer.Option(
            metavar="JOB",
            help="Jobs of other lists too: replace, lower, regrade or measure; once for each.",
        ),
    ] = None,
    out: o.Out = Path("hydrantgis-sheets"),
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Job sheets for the crews, and notices to the fire department and to customers, as PDF.

    Writes OUT/sheets.pdf, a cover for each crew's day and a sheet a hydrant, front and back; and
    OUT/notices.pdf, the out-of-service list and letters. With --season the jobs of its calendar in
    the order of their stops; else all kit jobs by area, with days left blank.

    \b
    Example:
      hydrantgis sheets --rule nfpa24-2019 --kits generic --out sheets
      hydrantgis sheets --kits our-kits.toml --season season-2027.toml --out sheets
      hydrantgis sheets --kits our-kits.toml --season season-2027.toml --day 2027-05-11 --crew North
      hydrantgis sheets --rule our-rule.toml --kits our-kits.toml --only H-123
      hydrantgis sheets --rule our-rule.toml --kits our-kits.toml --area A1 --also measure
    """
    from hydrantgis import job
    from hydrantgis.ground.errors import WordsError

    if adopt is not None and season_file is None:
        raise WordsError("--adopt needs a season", do="name its file with --season")
    wanted = job.Wanted(
        only=tuple(only or ()), day=_day(day), area=area, crew=crew, also=tuple(also or ())
    )
    words = None if season_file is None else job.load_season(season_file)
    tell = teller(quiet=quiet)
    result = job.check(
        register, rule=rule, kits=kits, outlet=outlet_said(outlet), command=typed(), tell=tell
    )
    season = job.plan(result)
    planned = None
    if words is not None and adopt is not None:
        planned = job.adopt_book(result, words, adopt, tell=tell).planned
    elif words is not None:
        planned = job.plan_season(result, words, tell=tell)
    book = job.sheet_book(result, season, planned, wanted)
    tell(f"{len(book.rows):,} job sheets")
    paths = [] if dry_run else job.write_sheet_book(book, out)
    if as_json:
        put_json({**_book_json(book), "files": [str(path) for path in paths]})
    else:
        put(f"Rule {result.rule.rule_id}: {result.rule}")
        _put_book(book)
        put_findings(season.findings if planned is None else planned.findings)
        put("nothing was written (dry run)" if dry_run else "Printed")
        for path in paths:
            put(f"  {path}, {path.stat().st_size / 1e6:.1f} MB")
        put_caution()
    end(result, strict=strict, more=None if planned is None else planned.findings)


def _day(word: str | None) -> dt.date | None:
    import datetime as dt

    from hydrantgis.ground.errors import WordsError

    if word is None:
        return None
    try:
        return dt.date.fromisoformat(word)
    except ValueError as error:
        raise WordsError(
            "that is no day", where="--day", found=word, accepted="a day such as 2027-05-11"
        ) from error


def _many(count: int, thing: str) -> str:
    return f"{count:,} {thing}{'' if count == 1 else 's'}"


def _put_book(book: SheetBook) -> None:
    rows = book.rows
    covers = rows["batch"].nunique()
    put(f"{book.title}: {_many(len(rows), 'job sheet')}, {_many(covers, 'cover')}")
    counted = rows["remedy"].value_counts()
    grid([(str(name), f"{n:,}") for name, n in counted.items()], right=(1,))
    letters = book.notices.groupby(["told_to", "area_id", "out_on"], dropna=False).ngroups
    put(f"Notices: {len(book.notices) // 2:,} hydrants go out of service, {letters:,} letters")
    bare = int((rows["valve_id"].isna() & ~rows["remedy"].isin(["measure", "regrade"])).sum())
    if bare:
        put(f"  {bare:,} of the sheets name no isolating valve; none is drawn near them")


def _book_json(book: SheetBook) -> dict[str, object]:
    rows = book.rows
    return {
        "title": book.title,
        "sheets": len(rows),
        "jobs": rows["remedy"].value_counts().to_dict(),
        "hydrants": rows["hydrant_id"].tolist(),
        "covers": int(rows["batch"].nunique()),
        "out_of_service": len(book.notices) // 2,
    }
