"""
Commands that judge and deliver: check, map, demo.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.talk import DATA_ERRORS, grid, put, put_findings, put_json, teller

if TYPE_CHECKING:
    from typing import Any

    import pandas as pd

    from hydrantgis.job import Checked


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
    also: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FORMAT",
            help="The checked layer in another format too: geoparquet, geojson, flatgeobuf, "
            "shapefile or csv; once for each.",
        ),
    ] = None,
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
    with layers checked, exceptions, provenance, remedies and area_figures, and grades where there
    are ground shots.

    \b
    Example:
      hydrantgis check --rule nfpa24-2019 --kits generic --register register.gpkg --out results
      hydrantgis check --rule our-rule.toml --kits our-kits.toml --json
      hydrantgis check --rule our-rule.toml --kits our-kits.toml --also geojson --also shapefile
      hydrantgis check --rule our-rule.toml --kits our-kits.toml --explain H-123
    """
    from hydrantgis import job
    from hydrantgis.deliver.layers import FORMATS
    from hydrantgis.ground.errors import WordsError

    strange = [kind for kind in also or [] if kind not in FORMATS]
    if strange:
        raise WordsError(f"`{strange[0]}` is no format", accepted=", ".join(FORMATS))
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
    path, more = out / "checked.gpkg", []
    if not dry_run:
        result.write(path)
        more = result.write_also(out, also or [])
    if as_json:
        files = [str(other) for other in more]
        put_json({**result_json(result), "file": None if dry_run else str(path), "also": files})
    else:
        put_result(result)
        put_findings(result.findings)
        put("nothing was written (dry run)" if dry_run else f"Results: {path}")
        for other in more:
            put(f"         {other}")
        put_caution()
    end(result, strict=strict)


def end(result: Checked, *, strict: bool, more: pd.DataFrame | None = None) -> None:
    """End with 3 where `--strict` is said and the data, or what else was noticed, have errors."""
    import sys

    import pandas as pd

    told = [result.findings, result.exceptions, *([] if more is None else [more])]
    errors = pd.concat([frame.loc[frame["severity"] == "error", "code"] for frame in told])
    if strict and len(errors):
        kinds = ", ".join(f"{code} {n:,}" for code, n in errors.value_counts().items())
        sys.stderr.write(f"errors in the data: {kinds}\n")
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
    from hydrantgis.ground.results import REMEDY_WORDS

    order = {name: place for place, name in enumerate(REMEDY_WORDS)}
    counted = table.groupby(["remedy", "kit_length_in"], dropna=False).size().rename("count")
    frame = counted.reset_index()
    return frame.sort_values(
        ["remedy", "kit_length_in"],
        key=lambda s: s.map(order) if s.name == "remedy" else s,
        kind="stable",
    )


def result_json(result: Checked) -> dict[str, Any]:
    """What a check found, for `--json`."""
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


def put_result(result: Checked) -> None:
    """Write what a check found."""
    from hydrantgis.ground.results import REMEDY_WORDS

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
    judged = result.table["verdict"].notna() | (result.table["remedy"] != "none")
    remedies = _remedies(result.table[judged])
    lines = [
        (f"{REMEDY_WORDS[r]}{'' if k != k else f', {k:g} in'}", f"{n:,}")
        for r, k, n in zip(
            remedies["remedy"], remedies["kit_length_in"], remedies["count"], strict=True
        )
    ]
    if not judged.all():
        lines.append(("not judged", f"{int((~judged).sum()):,}"))
    grid(lines, right=(1,))
    put()


def put_caution() -> None:
    """Write the caution that goes with every work that is told."""
    from hydrantgis.standards.load import cautions

    put(cautions()[0])


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
        put_json({**result_json(result), "files": [] if dry_run else [str(p) for p in paths]})
        return
    put("Tesselbrook Water District (invented)")
    grid([(name, str(intake.count)) for name, intake in intakes])
    put()
    put_result(result)
    jobs = len(season.jobs)
    put(f"Season list: {jobs:,} kit jobs in {season.jobs['area_id'].nunique()} areas")
    if dry_run:
        put("nothing was kept (dry run)")
        put_caution()
        return
    from hydrantgis.deliver.outputs import output_of

    put(f"Results in {out}, with an index.html that leads to each and says what it is")
    known = [(path.name, output_of(path.name)) for path in paths]
    grid([(name, one.title) for name, one in known if one is not None and not one.is_many])
    put_caution()
