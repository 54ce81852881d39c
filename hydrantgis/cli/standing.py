"""
Commands for what stands: height rules and kit catalogues.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.talk import grid, put, put_json

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from hydrantgis.standards.kits import KitCatalogue

rules = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="List, show, check and keep height rules."
)
kits = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="List, show, check and keep kit catalogues."
)

Word = Annotated[str, typer.Argument(help="An id that `list` shows, or a TOML file.")]


@rules.command("list")
def list_rules(as_json: o.Json = False) -> None:
    """
    The height rules that ship, with window and citation.

    \b
    Example:
      hydrantgis rules list
    """
    from hydrantgis.standards.load import shipped_rules

    found = shipped_rules()
    if as_json:
        put_json(
            {"rules": [{"rule_id": r.rule_id, "title": r.title, "words": str(r),
                        "citation": str(r.citation)} for r in found]}
        )  # fmt: skip
        return
    grid([("rule", "what it asks for", "whose"), *((r.rule_id, str(r), r.title) for r in found)])
    put("The code in force where the hydrant stands governs; read it before you use a rule.")


@rules.command("show")
def show_rule(rule: Word, as_json: o.Json = False) -> None:
    """
    A height rule with all it says; copy the file's text to write your own.

    \b
    Example:
      hydrantgis rules show nfpa24-2019 > our-rule.toml
    """
    from hydrantgis.standards.load import load_rule, text_of

    found = load_rule(rule)
    text = text_of("rules", rule).rstrip()
    if as_json:
        put_json({"rule_id": found.rule_id, "toml": text})
        return
    for line in text.splitlines():
        put(line)


@rules.command("validate")
def validate_rule(rule: Word, as_json: o.Json = False) -> None:
    """
    Whether a rule file is sound; every problem with its address.

    \b
    Example:
      hydrantgis rules validate our-rule.toml
    """
    from hydrantgis.standards.load import load_rule

    found = load_rule(rule)
    if as_json:
        put_json({"rule_id": found.rule_id, "sound": True})
        return
    put(f"{found.rule_id} is sound: {found}")


@rules.command("keep")
def keep_rule(
    rule: Word,
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
) -> None:
    """
    Keep a rule in the register, as the one that stands where none is named.

    \b
    Example:
      hydrantgis rules keep our-rule.toml --register register.gpkg
    """
    _keep(register, rule=rule, as_json=as_json, dry_run=dry_run)


@kits.command("list")
def list_kits(as_json: o.Json = False) -> None:
    """
    The kit catalogues that ship.

    \b
    Example:
      hydrantgis kits list
    """
    from hydrantgis.standards.load import shipped_kits

    found = shipped_kits()
    if as_json:
        put_json({"kits": [{"catalogue_id": k.catalogue_id, "title": k.title,
                            "source": k.source} for k in found]})  # fmt: skip
        return
    grid([("catalogue", "what it holds", "from"),
          *((k.catalogue_id, k.title, k.source) for k in found)])  # fmt: skip


@kits.command("show")
def show_kits(catalogue: Word, as_json: o.Json = False) -> None:
    """
    A kit catalogue with all it says; copy the file's text to write your own.

    \b
    Example:
      hydrantgis kits show generic > our-kits.toml
    """
    from hydrantgis.standards.load import load_kits, text_of

    found = load_kits(catalogue)
    text = text_of("kits", catalogue).rstrip()
    if as_json:
        put_json({"catalogue_id": found.catalogue_id, "toml": text, **_kits_json(found)})
        return
    for line in text.splitlines():
        put(line)


@kits.command("template")
def template_kits(as_json: o.Json = False) -> None:
    """
    A kit catalogue to begin your own with, every key explained.

    \b
    Example:
      hydrantgis kits template > our-kits.toml
    """
    from hydrantgis.standards.load import template_of

    text = template_of("kits").rstrip()
    if as_json:
        put_json({"toml": text})
        return
    for line in text.splitlines():
        put(line)


@kits.command("validate")
def validate_kits(catalogue: Word, as_json: o.Json = False) -> None:
    """
    Whether a kit catalogue is sound; every problem with its address.

    \b
    Example:
      hydrantgis kits validate our-kits.toml
    """
    from hydrantgis.standards.load import load_kits

    found = load_kits(catalogue)
    if as_json:
        put_json({"catalogue_id": found.catalogue_id, "sound": True})
        return
    put(f"{found.catalogue_id} is sound: {found.title}")
    rows = [("family", "kits", "lengths in", "costs", "on hand")]
    for family in found.families:
        kits_of = family.kits
        priced = sum(kit.unit_cost is not None for kit in kits_of)
        stocked = [kit.on_hand for kit in kits_of if kit.on_hand is not None]
        lengths = " ".join(f"{kit.length_in:g}" for kit in kits_of)
        rows.append((str(family), str(len(kits_of)), lengths, f"{priced} of {len(kits_of)}",
                     str(sum(stocked)) if stocked else "not told"))  # fmt: skip
    grid(rows)
    put(f"House rules: {found.house}")
    for use, title in (("extension", "An extension kit holds"), ("repair", "A repair kit holds")):
        parts = [str(part) for part in found.parts if part.use == use]
        if parts:
            put(f"{title}: {'; '.join(parts)}")
    for joint in found.joints:
        put(f"Joint: {joint}")
    put("The maker's parts and instructions govern.")


@kits.command("keep")
def keep_kits(
    catalogue: Word,
    register: o.RegisterFile = o.DEFAULT_REGISTER,
    as_json: o.Json = False,
    dry_run: o.DryRun = False,
) -> None:
    """
    Keep a kit catalogue in the register, as the one that stands where none is named.

    \b
    Example:
      hydrantgis kits keep our-kits.toml --register register.gpkg
    """
    _keep(register, kits=catalogue, as_json=as_json, dry_run=dry_run)


def _kits_json(found: KitCatalogue) -> dict[str, Any]:
    return {
        "source": found.source, "read_on": found.read_on.isoformat(), "money": found.money,
        "house_rules": asdict(found.house), "families": [asdict(f) for f in found.families],
        "parts": [asdict(part) for part in found.parts],
        "joints": [asdict(joint) for joint in found.joints],
    }  # fmt: skip


def _keep(
    register: Path,
    *,
    rule: str | None = None,
    kits: str | None = None,
    as_json: bool,
    dry_run: bool,
) -> None:
    from hydrantgis import job

    job.keep_standards(register, rule=rule, kits=kits, dry_run=dry_run)
    if as_json:
        put_json({"register": str(register), "kept": rule or kits, "dry_run": dry_run})
        return
    put("nothing was written (dry run)" if dry_run else f"kept in {register}")
