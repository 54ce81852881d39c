"""Open rule, kit and caution files: the shipped ones by id, the user's own by path."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SettingsError, UnreadableError, WordsError
from hydrantgis.standards.fieldwork import fieldwork_from_mapping
from hydrantgis.standards.kitfile import catalogue_from_mapping
from hydrantgis.standards.rules import HeightRule, rule_from_mapping

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from hydrantgis.standards.fieldwork import Fieldwork
    from hydrantgis.standards.kits import KitCatalogue


def _folder(kind: str) -> Traversable:
    return resources.files("hydrantgis.standards") / "data" / kind


def _shipped(kind: str) -> dict[str, Traversable]:
    files = sorted(_folder(kind).iterdir(), key=lambda entry: entry.name)
    return {f.name.removesuffix(".toml"): f for f in files if f.name.endswith(".toml")}


def read_toml(path: Path | Traversable) -> dict[str, Any]:
    """
    What a TOML file holds.

    Raises
    ------
    UnreadableError
        There is no such file.
    SettingsError
        It is no TOML; the line is told.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError as error:
        raise UnreadableError("there is no such file", where=str(path)) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"{path.name} is no TOML file", found=str(error), do="mend it at that place"
        ) from error


def _find(kind: str, word: str, option: str) -> Path | Traversable:
    shipped = _shipped(kind)
    if word in shipped:
        return shipped[word]
    path = Path(word)
    if path.suffix == ".toml" or path.exists():
        return path
    raise WordsError(
        f"`{word}` is none of the {kind} that ship, and no file",
        accepted=f"{', '.join(shipped)}, or the path of a TOML file",
        do=f"name one with {option}",
    )


def text_of(kind: str, word: str) -> str:
    """The text of a rule or kit file, named as `load_rule` and `load_kits` take it."""
    return _find(kind, word, "--rule or --kits").read_text(encoding="utf-8-sig")


def template_of(kind: str) -> str:
    """
    The text of a file to begin one's own with.

    Parameters
    ----------
    kind
        `kits`.
    """
    return (_folder("templates") / f"{kind}.toml").read_text(encoding="utf-8")


def load_rule(word: str) -> HeightRule:
    """
    A height rule by its id, or by the path of its file.

    Raises
    ------
    WordsError, UnreadableError, SettingsError
        It is not known, not there, or has problems.

    Examples
    --------
    >>> str(load_rule("nfpa24-2019").window)
    '18 to 36 in'
    """
    path = _find("rules", word, "--rule")
    rule = rule_from_mapping(read_toml(path), path.name)
    published = _shipped("rules").get(rule.rule_id)
    if published is not None and read_toml(published) != read_toml(path):
        raise SettingsError(
            f"{path.name} changes the published rule `{rule.rule_id}` under its own name",
            do="give it a rule_id, a title and a citation of your own",
        )
    return rule


def load_kits(word: str) -> KitCatalogue:
    """
    A kit catalogue by its id, or by the path of its file.

    Raises
    ------
    WordsError, UnreadableError, SettingsError
        It is not known, not there, or has problems.

    Examples
    --------
    >>> [kit.length_in for kit in load_kits("generic").families[0].kits][:3]
    [6.0, 12.0, 18.0]
    """
    path = _find("kits", word, "--kits")
    return catalogue_from_mapping(read_toml(path), path.name)


def shipped_rules() -> list[HeightRule]:
    """Every height rule that ships, by id."""
    return [load_rule(word) for word in _shipped("rules")]


def shipped_kits() -> list[KitCatalogue]:
    """Every kit catalogue that ships, by id."""
    return [load_kits(word) for word in _shipped("kits")]


def cautions() -> tuple[str, ...]:
    """
    The cautions that are printed wherever work is described.

    Examples
    --------
    >>> "maker" in cautions()[0]
    True
    """
    mapping = read_toml(resources.files("hydrantgis.standards") / "data" / "cautions.toml")
    return tuple(str(text) for text in mapping["caution"])


def fieldwork() -> Fieldwork:
    """
    The order of work and the cautions that job sheets print.

    Examples
    --------
    >>> [line.hold for line in fieldwork().steps_of("extend") if line.hold][:2]
    ['Isolated and proved', 'Pins seated, pulled up']
    """
    data = resources.files("hydrantgis.standards") / "data"
    return fieldwork_from_mapping(read_toml(data / "fieldwork.toml"))
