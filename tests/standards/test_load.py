"""Rules and kit catalogues: what ships is sound, what is broken is told."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from hydrantgis.ground.errors import SettingsError, UnreadableError, WordsError
from hydrantgis.standards import load
from hydrantgis.standards.kits import ANY_FAMILY
from hydrantgis.standards.methods import METHODS

DATA = Path(load.__file__).parent / "data"


@pytest.mark.parametrize("path", sorted((DATA / "rules").glob("*.toml")), ids=lambda p: p.stem)
def test_every_shipped_rule_is_sound_named_by_its_id_and_cited(path: Path) -> None:
    rule = load.load_rule(path.stem)
    assert rule.rule_id == path.stem
    assert rule.window.limited
    assert rule.citation.address
    assert rule.citation.read_on <= dt.date(2030, 1, 1)


def test_five_local_rules_and_nfpa_ship_and_differ_in_point_or_datum() -> None:
    rules = load.shipped_rules()
    assert "nfpa24-2019" in {rule.rule_id for rule in rules}
    assert len({(r.outlet, r.point, r.datum) for r in rules}) >= 5


def test_generic_kits_run_from_6_to_48_and_say_where_they_come_from() -> None:
    kits = load.load_kits("generic")
    assert [kit.length_in for kit in kits.families[0].kits] == [6, 12, 18, 24, 30, 36, 42, 48]
    assert kits.families[0].name == ANY_FAMILY
    assert "common practice, no source" in kits.source
    assert all(method.source for method in METHODS.values())


def test_an_unknown_rule_lists_those_that_ship() -> None:
    with pytest.raises(WordsError, match="nfpa24-2019"):
        load.load_rule("nfpa24-2091")
    with pytest.raises(UnreadableError):
        load.load_rule("nowhere.toml")


def _broken(tmp_path: Path, old: str, new: str) -> Path:
    text = load.text_of("rules", "nfpa24-2019")
    assert old in text
    path = tmp_path / "broken.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("hi_in = 36.0", "hi_in = 16.0", "not above lo_in"),
        ("hi_in = 36.0", "hi_in = 18.0", "not above lo_in"),
        ("lo_in = 18.0\nhi_in = 36.0", "target_in = 18.0", "a bare target judges nothing"),
        ('outlet = "hose"', 'outlet = "nozzle"', r"\$\.outlet"),
        ("[window]", "[windows]", r"\$\.window: missing"),
        ('edition = "2019"', "", r"\$\.citation\.edition: missing"),
        ("format = 1", "format = 2", "format 1"),
        ('datum = "grade"', 'datum = "higher-of-curb-and-grade"', "curb_within_in"),
    ],
)
def test_a_broken_rule_is_told_with_its_address(tmp_path, old, new, told) -> None:
    with pytest.raises(SettingsError, match=told):
        load.load_rule(str(_broken(tmp_path, old, new)))


def test_a_published_rule_is_not_changed_under_its_own_name(tmp_path) -> None:
    with pytest.raises(SettingsError, match="a rule_id, a title and a citation of your own"):
        load.load_rule(str(_broken(tmp_path, "hi_in = 36.0", "hi_in = 40.0")))
    same = tmp_path / "same.toml"
    same.write_text(load.text_of("rules", "nfpa24-2019"), encoding="utf-8")
    assert load.load_rule(str(same)).rule_id == "nfpa24-2019"


def test_text_that_is_no_toml_is_told_with_its_line(tmp_path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("a = [1,\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="no TOML"):
        load.load_rule(str(path))


def test_the_outlet_can_be_said_and_stands_in_the_id() -> None:
    rule = load.load_rule("nfpa24-2019")
    assert rule.judging("pumper").rule_id == "nfpa24-2019+pumper"
    assert rule.judging(None) is rule


def test_the_cautions_name_the_maker_and_the_isolation() -> None:
    text = " ".join(load.cautions())
    for word in ("maker", "local codes", "licensed", "valve", "located", "fire department"):
        assert word in text
