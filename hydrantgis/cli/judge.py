"""
Commands that judge and deliver: check, plan, map, demo.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.talk import DATA_ERRORS, grid, has_errors, put, put_findings, put_json, teller

if TYPE_CHECKING:
    from typing import Any

    import pandas as pd

    from hydrantgis.job import Checked, Chosen
    from hydrantgis.season.lists import Season

_REMEDY_WORDS = {
    "extend": "extend", "exchange": "exchange the kit", "remove": "take the kit out",
    "replace": "replace", "lower": "lower", "regrade": "raise the ground",
    "measure": "measure", "review": "review",
    "none": "nothing to do",
}  # fmt: skip


def typed() -> str:
    """The command as it was typed, without the path of the program."""
    import sys

    return " ".join(["hydrantgis", *sys.argv[1:]])


def check(
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    out: o.Out = Path("hydrantgis-check"),
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    explain: o.Explain = None,
    quiet: o.Quiet = False,
) -> None:
    """
    Verdict and remedy for every hydrant, under a named height rule.

    With --explain one hydrant is told whole: its readings, the rule, every kit with where outlet
    and flange would end, and why one is chosen; nothing is written. Else writes OUT/checked.gpkg
    with layers checked, exceptions and provenance, and grades where there are ground shots.

    \b
    Example:
      hydrantgis check --rule nfpa24-2019 --kits generic --register register.gpkg --out results
      hydrantgis check --rule our-rule.toml --kits our-kits.toml --json
      hydrantgis check --rule our-rule.toml --kits our-kits.toml --explain H-123
    """
    from hydrantgis import job

    result = job.check(
        register, rule=rule, kits=kits, outlet=outlet_said(outlet), command=typed(),
        tell=teller(quiet=quiet),
    )  # fmt: skip
    if explain is not None:
        from hydrantgis.cli.explained import explained_json, put_explained

        told = job.explain(result, explain)
        if as_json:
            put_json(explained_json(told))
        else:
            put_explained(told, result)
            put_caution()
        return
    path = out / "checked.gpkg"
    if not dry_run:
        result.write(path)
    if as_json:
        put_json({**_result_json(result), "file": None if dry_run else str(path)})
    else:
        _put_result(result)
        put_findings(result.findings)
        put("nothing was written (dry run)" if dry_run else f"Results: {path}")
        put_caution()
    _end(result, strict=strict)


def _end(result: Checked, *, strict: bool) -> None:
    """End with 3 where `--strict` is said and the data have errors."""
    if strict and (has_errors(result.findings) or has_errors(result.exceptions)):
        raise typer.Exit(DATA_ERRORS)


def outlet_said(word: str | None) -> str | None:
    """An outlet, as it is typed; `WordsError` where it is none."""
    from hydrantgis.ground.errors import WordsError
    from hydrantgis.ground.tables import OUTLETS

    if word is not None and word not in OUTLETS:
        raise WordsError(f"`{word}` is no outlet", accepted=", ".join(OUTLETS))
    return word


def _remedies(table: pd.DataFrame) -> pd.DataFrame:
    """How many of each remedy and kit length, kit jobs first."""
    order = {name: place for place, name in enumerate(_REMEDY_WORDS)}
    counted = table.groupby(["remedy", "kit_length_in"], dropna=False).size().rename("count")
    frame = counted.reset_index()
    return frame.sort_values(
        ["remedy", "kit_length_in"],
        key=lambda s: s.map(order) if s.name == "remedy" else s,
        kind="stable",
    )


def _result_json(result: Checked) -> dict[str, Any]:
    remedies = _remedies(result.table)
    return {
        "rule": result.rule.rule_id,
        "rule_in_words": str(result.rule),
        "citation": str(result.rule.citation),
        "kits": result.kits.catalogue_id,
        "counts": result.counts(),
        "remedies": [
            {"remedy": r, "kit_length_in": None if k != k else k, "hydrants": int(n)}
            for r, k, n in zip(
                remedies["remedy"], remedies["kit_length_in"], remedies["count"], strict=True
            )
        ],
        "findings": result.findings.groupby("code").size().to_dict(),
    }


def _put_result(result: Checked) -> None:
    counts = result.counts()
    put(f"Rule {result.rule.rule_id}: {result.rule}")
    put(f"  {result.rule.citation}")
    put(f"Kits {result.kits.catalogue_id}: {result.kits.source}")
    put()
    share = f"{counts['inside'] / counts['measured']:.0%} of measured" if counts["measured"] else ""
    marginal = int((result.table["marginal"].fillna(False) & result.table["verdict"].notna()).sum())
    rows = [
        ("hydrants", f"{counts['hydrants']:,}", ""),
        ("  measured", f"{counts['measured']:,}", f"of these {marginal:,} marginal"),
        ("    inside", f"{counts['inside']:,}", share),
        ("    low", f"{counts['low']:,}", ""),
        ("    high", f"{counts['high']:,}", ""),
        ("    unresolved", f"{counts['unresolved']:,}", "cannot be told with this measurement"),
        ("  unmeasured", f"{counts['unmeasured']:,}", ""),
        ("  not judged", f"{counts['not_judged']:,}", "no dry barrel, or retired"),
    ]
    grid(rows, right=(1,))
    put()
    put("Remedies")
    remedies = _remedies(result.table)
    grid(
        [
            (f"{_REMEDY_WORDS[r]}{'' if k != k else f', {k:g} in'}", f"{n:,}")
            for r, k, n in zip(
                remedies["remedy"], remedies["kit_length_in"], remedies["count"], strict=True
            )
        ],
        right=(1,),
    )
    put()


def put_caution() -> None:
    """Write the caution that goes with every work that is told."""
    from hydrantgis.standards.load import cautions

    put(cautions()[0])


def plan(
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    season_file: Annotated[
        Path | None, typer.Option("--season", help="TOML: budget, crew hours, weights.")
    ] = None,
    write_season: Annotated[
        Path | None, typer.Option(help="Begin a season file there, every key explained.")
    ] = None,
    out: o.Out = Path("hydrantgis-season"),
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    Next season's list by area: which hydrants, which kits, and what needs something else.

    Writes OUT/season.gpkg and each list as CSV with text ids. With --season the jobs of the highest
    priority within its budget and crew hours are chosen, with the reason of each.

    \b
    Example:
      hydrantgis plan --rule nfpa24-2019 --kits generic --out season-2027
      hydrantgis plan --write-season season-2027.toml
      hydrantgis plan --rule nfpa24-2019 --kits our-kits.toml --season season-2027.toml
    """
    from hydrantgis import job

    if write_season is not None:
        _begin_season(write_season, dry_run=dry_run)
        return
    words = None if season_file is None else job.load_season(season_file)

    tell = teller(quiet=quiet)
    result = job.check(
        register, rule=rule, kits=kits, outlet=outlet_said(outlet), command=typed(), tell=tell
    )
    season = job.plan(result)
    chosen = None if words is None else job.choose_season(result, words)
    paths = [] if dry_run else job.write_season(season, out, result=result, chosen=chosen)
    if as_json:
        import json

        put_json(
            {
                "rule": result.rule.rule_id,
                "jobs": len(season.jobs),
                "areas": json.loads(season.area_totals.to_json(orient="records")),
                "kits": json.loads(season.kit_totals.to_json(orient="records")),
                "orders": json.loads(season.orders.to_json(orient="records")),
                "money": result.kits.money,
                "selection": None if chosen is None else _selection_json(chosen),
                "files": [str(path) for path in paths],
            }
        )
    else:
        put(f"Rule {result.rule.rule_id}: {result.rule}")
        _put_season(season, result.kits.money)
        if chosen is not None:
            _put_selection(chosen)
        put_findings(season.findings)
        put("nothing was written (dry run)" if dry_run else f"Lists: {out}")
        put_caution()
    _end(result, strict=strict)


def _put_season(season: Season, money: str | None) -> None:
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
    put("Kits to order")
    orders = season.orders
    if not len(orders):
        put("  none")
    waiting = int(orders["waiting"].sum())
    if waiting:
        put(f"  of these, {waiting:,} wait until the flange has been measured (see the visits)")
    stocked, priced = orders["on_hand"].notna().any(), orders["unit_cost"].notna().any()
    rows = [("family", "kit", "needed", "waiting")]
    cells = [
        orders["family"].fillna("(family not recorded)").map(_few_families), orders["kit_id"],
        orders["kits"].map("{:,}".format), orders["waiting"].map("{:,}".format),
    ]  # fmt: skip
    if stocked:
        rows = [(*rows[0], "on hand", "to order")]
        cells += [orders["on_hand"].map("{:,}".format, na_action="ignore").fillna("?"),
                  orders["to_order"].map("{:,}".format)]  # fmt: skip
    if priced:
        rows = [(*rows[0], f"cost {money or ''}".strip())]
        cells.append(orders["cost"].map("{:,.2f}".format).where(orders["cost"].notna(), "?"))
    rows += list(zip(*cells, strict=True))
    if len(orders):
        sums = ["all", "", f"{int(orders['kits'].sum()):,}", f"{waiting:,}"]
        if stocked:
            sums += ["", f"{int(orders['to_order'].sum()):,}"]
        if priced:
            sums.append(f"{orders['cost'].sum():,.2f}")
        rows.append(tuple(sums))
        grid(rows, right=range(2, 7))
        bare = int(orders["unit_cost"].isna().sum())
        if priced and bare:
            put(f"  {bare:,} of these have no price and are not in the sum")
    put()


def _few_families(names: str) -> str:
    """Families that share a kit, the first two of many."""
    each = names.split(" / ")
    return names if len(each) <= 3 else f"{', '.join(each[:2])} and {len(each) - 2} more"


def _begin_season(path: Path, *, dry_run: bool) -> None:
    from hydrantgis.ground.errors import WordsError
    from hydrantgis.standards.load import template_of

    if path.exists():
        raise WordsError("there is a file of that name", where=str(path), do="name another")
    if not dry_run:
        path.write_text(template_of("season"), encoding="utf-8", newline="\n")
    put("nothing was written (dry run)" if dry_run else f"Season file: {path}")


def _selection_json(chosen: Chosen) -> dict[str, Any]:
    told = chosen.selected
    return {
        "season": chosen.words.season_id, "jobs": len(chosen.table),
        "selected": int(chosen.table["selected"].sum()), "priority": told.value,
        "bound": told.bound, "gap": told.gap, "by_greedy": told.by_greedy, "cost": told.cost,
        "available": chosen.available, "hours": told.hours, "binding": list(told.binding),
        "why_none": list(told.why_none), "unpriced": chosen.unpriced,
        "left_out": chosen.table[~chosen.table["selected"]].groupby("why").size().to_dict(),
    }  # fmt: skip


def _put_selection(chosen: Chosen) -> None:
    told, words, table = chosen.selected, chosen.words, chosen.table
    put(f"Season {words.season_id}: {words.title}, {words.starts_on} to {words.ends_on}")
    if chosen.unpriced:
        put(f"  {chosen.unpriced:,} of {len(table):,} jobs have no price and cannot be chosen")
    if told.why_none:
        put(f"  no plan: {'; '.join(told.why_none)}")
        put()
        return
    done = table[table["selected"]]
    whole = float(table["priority"].sum())
    rows = [
        ("jobs", f"{len(done):,} of {len(table):,}", f"in {done['area_id'].nunique()} areas"),
        ("priority", f"{told.value:,.1f} of {whole:,.1f}",
         f"no choice could have more than {told.bound:,.1f}; greedy has {told.by_greedy:,.1f}"),
        ("cost", f"{told.cost:,.2f}", f"of {chosen.available:,.2f} {words.money}, "
         f"{words.contingency_share:.0%} of {words.budget:,.0f} kept back"),
        ("crew hours", f"{told.hours:,.1f}", f"of {words.crew_hours:,.1f}"),
        ("binding", ", ".join(told.binding) or "nothing", ""),
    ]  # fmt: skip
    grid(rows, right=(1,))
    left = table[~table["selected"]].groupby("why").size()
    if len(left):
        put("Left out")
        grid([(why, f"{n:,}") for why, n in left.items()], right=(1,))
    put()


def map_hydrants(
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    rule: o.Rule = None,
    kits: o.Kits = None,
    outlet: o.Outlet = None,
    title: Annotated[str, typer.Option(help="What stands at the head of the map.")] = "Hydrants",
    out: o.Out = Path("map.html"),
    strict: o.Strict = False,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    The web map: one HTML file that opens without any network.

    \b
    Example:
      hydrantgis map --rule nfpa24-2019 --kits generic --title "Our district" --out map.html
    """
    from hydrantgis import job
    from hydrantgis.deliver.webmap import save_map

    tell = teller(quiet=quiet)
    result = job.check(
        register, rule=rule, kits=kits, outlet=outlet_said(outlet), command=typed(), tell=tell
    )
    tell("map")
    drawn = job.draw_map(result, title=title)
    path = out / "map.html" if out.is_dir() else out
    if not dry_run:
        save_map(drawn, path)
    if as_json:
        put_json({**_result_json(result), "file": None if dry_run else str(path)})
    else:
        _put_result(result)
        size = "" if dry_run else f"{path.stat().st_size / 1e6:.1f} MB, opens without a network"
        put("nothing was written (dry run)" if dry_run else f"Map: {path}, {size}")
        put_caution()
    _end(result, strict=strict)


def demo(
    out: o.Out = Path("hydrantgis-demo"),
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
    quiet: o.Quiet = False,
) -> None:
    """
    The whole job on an invented water district, and where the results are.

    \b
    Example:
      hydrantgis demo --out hydrantgis-demo
    """
    from hydrantgis import demo as district

    with TemporaryDirectory() as aside:
        place = Path(aside) if dry_run else out
        result, season, paths, intakes = district.run(place, tell=teller(quiet=quiet))
    if as_json:
        put_json({**_result_json(result), "files": [] if dry_run else [str(p) for p in paths]})
        return
    put("Tesselbrook Water District (invented)")
    grid([(name, str(intake.count)) for name, intake in intakes])
    put()
    _put_result(result)
    jobs = len(season.jobs)
    put(f"Season list: {jobs:,} kit jobs in {season.jobs['area_id'].nunique()} areas")
    if dry_run:
        put("nothing was kept (dry run)")
        put_caution()
        return
    put("Results")
    told = {
        "register.gpkg": "the register: hydrants, areas, history",
        "register_exceptions.csv": "rows that are held or rejected, and why",
        "checked.gpkg": "every hydrant with height, verdict, remedy",
        "map.html": "the map; open it in a browser, no network needed",
        "season.gpkg": "the season list by area, and the same as season_*.csv",
    }
    grid([(str(path), told[path.name]) for path in paths if path.name in told])
    put_caution()
