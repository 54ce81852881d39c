"""
Commands for what stands: height rules and kit catalogues.
"""

from __future__ import annotations

from typing import Annotated

import typer

from hydrantgis.cli import options as o
from hydrantgis.cli.talk import grid, put, put_json

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
def show_rule(rule: Word) -> None:
    """
    A height rule with all it says; copy the file's text to write your own.

    \b
    Example:
      hydrantgis rules show nfpa24-2019 > our-rule.toml
    """
    from hydrantgis.standards.load import load_rule, text_of

    load_rule(rule)
    for line in text_of("rules", rule).rstrip().splitlines():
        put(line)


@rules.command("validate")
def validate_rule(rule: Word) -> None:
    """
    Whether a rule file is sound; every problem with its address.

    \b
    Example:
      hydrantgis rules validate our-rule.toml
    """
    from hydrantgis.standards.load import load_rule

    found = load_rule(rule)
    put(f"{found.rule_id} is sound: {found}")


@rules.command("keep")
def keep_rule(rule: Word, register: o.RegisterFile = o.DEFAULT_REGISTER) -> None:
    """
    Keep a rule in the register, as the one that stands where none is named.

    \b
    Example:
      hydrantgis rules keep our-rule.toml --register register.gpkg
    """
    from hydrantgis import job

    job.keep_standards(register, rule=rule)
    put(f"kept in {register}")


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
def show_kits(catalogue: Word) -> None:
    """
    A kit catalogue with all it says; copy the file's text to write your own.

    \b
    Example:
      hydrantgis kits show generic > our-kits.toml
    """
    from hydrantgis.standards.load import load_kits, text_of

    load_kits(catalogue)
    for line in text_of("kits", catalogue).rstrip().splitlines():
        put(line)


@kits.command("validate")
def validate_kits(catalogue: Word) -> None:
    """
    Whether a kit catalogue is sound; every problem with its address.

    \b
    Example:
      hydrantgis kits validate our-kits.toml
    """
    from hydrantgis.standards.load import load_kits

    found = load_kits(catalogue)
    many = sum(len(family.kits) for family in found.families)
    put(f"{found.catalogue_id} is sound: {len(found.families)} families, {many} kits")


@kits.command("keep")
def keep_kits(catalogue: Word, register: o.RegisterFile = o.DEFAULT_REGISTER) -> None:
    """
    Keep a kit catalogue in the register, as the one that stands where none is named.

    \b
    Example:
      hydrantgis kits keep our-kits.toml --register register.gpkg
    """
    from hydrantgis import job

    job.keep_standards(register, kits=catalogue)
    put(f"kept in {register}")
