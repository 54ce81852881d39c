"""
The rule and the kits that stand for the whole register.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

from hydrantgis.ground.errors import WordsError
from hydrantgis.job.moment import the_time
from hydrantgis.register.store import Register
from hydrantgis.standards.kitfile import catalogue_from_mapping
from hydrantgis.standards.load import load_kits, load_rule, text_of
from hydrantgis.standards.rules import HeightRule, rule_from_mapping

if TYPE_CHECKING:
    import datetime as dt

    from hydrantgis.standards.kits import KitCatalogue


def keep_standards(
    register: Path | str,
    *,
    rule: str | None = None,
    kits: str | None = None,
    now: dt.datetime | None = None,
    dry_run: bool = False,
) -> None:
    """
    Keep a rule or a kit catalogue in the register, as what stands where none is named.

    Parameters
    ----------
    register
        The register's file.
    rule, kits
        An id that ships or a TOML file; its text is kept.
    now
        The time to record, in UTC; the clock's where it is None.
    dry_run
        Do everything but write.

    Raises
    ------
    HydrantGISError
        The file has problems, or there is no register.
    """
    items: dict[str, str] = {}
    if rule is not None:
        load_rule(rule)
        items["rule"] = text_of("rules", rule)
    if kits is not None:
        load_kits(kits)
        items["kits"] = text_of("kits", kits)
    store = Register(Path(register))
    store.settings()
    if not dry_run:
        store.keep_settings(items, now=the_time() if now is None else now)


def standards_for(
    store: Register, rule: str | None, kits: str | None
) -> tuple[HeightRule, KitCatalogue]:
    """
    The rule and the kits that are named, else those that the register keeps; never another.

    Raises
    ------
    WordsError
        Neither says it.
    """
    kept = store.settings()
    for word, name, what in ((rule, "rule", "height rule"), (kits, "kits", "kit catalogue")):
        if word is None and name not in kept:
            command = "rules" if name == "rule" else name
            raise WordsError(
                f"no {what} is named",
                accepted=f"an id that `hydrantgis {command} list` shows, or a TOML file",
                do=f"pass --{name}, or keep one in the register with `{command} keep`",
            )
    height_rule = (
        load_rule(rule) if rule else rule_from_mapping(tomllib.loads(kept["rule"]), "kept rule")
    )
    catalogue = (
        load_kits(kits)
        if kits
        else catalogue_from_mapping(tomllib.loads(kept["kits"]), "kept kits")
    )
    return height_rule, catalogue


def texts_of(store: Register, rule: str | None, kits: str | None) -> tuple[str, str]:
    """The text of the rule and of the kits that were used."""
    kept = store.settings()
    return (
        text_of("rules", rule) if rule else kept["rule"],
        text_of("kits", kits) if kits else kept["kits"],
    )
