"""Settings files: every fault with its address, unknown keys refused."""

from __future__ import annotations

import datetime as dt

import pytest

from hydrantgis.ground.errors import SettingsError
from hydrantgis.ground.settings import SettingsReader


def test_all_faults_are_told_at_once_with_their_addresses() -> None:
    reader = SettingsReader(
        {"a": "", "n": True, "list": [{"deep": "x"}], "wnidow": {}}, "file.toml"
    )
    reader.text("a", required=True)
    reader.number("n")
    reader.part("window", required=True)
    reader.parts("list")[0].number("deep")
    with pytest.raises(SettingsError) as caught:
        reader.finish()
    text = str(caught.value)
    for part in ("$.a", "$.n", "$.window: missing", "$.list[0].deep", "did you mean `window`"):
        assert part in text
    assert "5 problems" in text


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "1", None, []])
def test_only_finite_numbers_are_numbers(value: object) -> None:
    reader = SettingsReader({"x": value}, "f")
    reader.number("x", required=True)
    with pytest.raises(SettingsError):
        reader.finish()


@pytest.mark.parametrize("value", [[6, 6], [12, 6], [0, 6], ["6"], [], 6])
def test_lengths_are_ascending_positive_and_unique(value: object) -> None:
    reader = SettingsReader({"k": value}, "f")
    reader.numbers("k", required=True)
    with pytest.raises(SettingsError):
        reader.finish()


def test_a_date_is_a_date_and_no_moment() -> None:
    reader = SettingsReader({"d": dt.date(2026, 1, 2), "m": dt.datetime(2026, 1, 2, 3)}, "f")
    assert reader.date("d") == dt.date(2026, 1, 2)
    reader.date("m")
    with pytest.raises(SettingsError, match=r"\$\.m"):
        reader.finish()
