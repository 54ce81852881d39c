"""What the points of the map can show: each hydrant in the class that its figures give it."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.deliver.looks import LOOKS
from hydrantgis.deliver.themes import (
    age_theme,
    flow_theme,
    probability_theme,
    remedy_theme,
    season_theme,
    themes_of,
)
from hydrantgis.ground.results import CHECKED, REMEDIES


def labels(theme) -> list[str]:
    return [theme.looks[code].label for code in theme.codes.tolist()]


def table(**columns) -> pd.DataFrame:
    frame = pd.DataFrame(
        {"hydrant_id": [f"H{k}" for k in range(len(next(iter(columns.values()))))]}
    )
    return CHECKED.conform(frame.assign(**columns))


def test_flow_classes_at_their_limits():
    """NFPA 291 5.1: AA 1,500 and more, A 1,000 to 1,499, B 500 to 999, C below; example T9."""
    flows = np.array([1500, 1499, 1000, 999, 500, 499, 0, np.nan])
    assert labels(flow_theme(flows)) == [
        "Class AA", "Class A", "Class A", "Class B", "Class B", "Class C", "Class C", "Not tested",
    ]  # fmt: skip


def test_flow_classes_have_the_published_colors():
    """NFPA 291 5.2: light blue, green, orange, red."""
    import colorsys

    hues = [
        colorsys.rgb_to_hsv(*(int(look.fill[k : k + 2], 16) / 255 for k in (1, 3, 5)))[0] * 360
        for look in flow_theme(np.array([1.0])).looks[:4]
    ]
    for hue, (low, high) in zip(hues, [(180, 220), (90, 160), (20, 45), (-1, 12)], strict=True):
        assert low < hue < high or low < hue - 360 < high


def test_ages_at_their_limits():
    today = dt.date(2026, 9, 30)
    days = [0, 365, 366, 730, 731, 1826, 1827, 3652, 3653, None]
    dates = [None if d is None else pd.Timestamp(today) - pd.Timedelta(days=d) for d in days]
    found = labels(age_theme(table(reading_date=pd.to_datetime(dates)), today))
    assert found == [
        "Up to 1 year", "Up to 1 year", "1 to 2 years", "1 to 2 years", "2 to 5 years",
        "2 to 5 years", "5 to 10 years", "5 to 10 years", "Over 10 years", "No reading",
    ]  # fmt: skip


def test_probabilities_at_their_limits():
    p = [1.0, 0.95, 0.9499, 0.8, 0.5, 0.4999, 0.2, 0.1999, 0.0, np.nan]
    assert probability_theme(table(p_inside=p)).codes.tolist() == [0, 0, 1, 1, 2, 3, 3, 4, 4, 5]


@given(
    st.lists(
        st.tuples(
            st.sampled_from([*REMEDIES, None]),
            st.one_of(st.none(), st.sampled_from([6.0, 8.0, 12.0, 16.0, 18.0, 24.0, 36.0, 48.0])),
        ),
        min_size=1,
        max_size=40,
    )
)
def test_every_remedy_has_a_class_and_kits_are_told_by_length(rows):
    remedy, length = zip(*rows, strict=True)
    found = labels(
        remedy_theme(
            table(
                remedy=np.array(remedy, dtype=object),
                verdict=np.full(len(rows), "low", dtype=object),
                kit_length_in=[np.nan if one is None else one for one in length],
            )
        )
    )
    for (word, kit), label in zip(rows, found, strict=True):
        if word is None:
            assert label == "Not judged"
        elif word == "extend" and kit is not None:
            if " to " in label:
                low, high = label.removeprefix("Extend ").removesuffix(" in").split(" to ")
                assert float(low) <= kit <= float(high)
            else:
                assert label == f"Extend {kit:g} in"
        else:
            assert label == {
                "none": "Nothing to do", "remove": "Take the kit out",
            }.get(word, word.capitalize())  # fmt: skip


def test_the_season_and_what_it_leaves():
    selection = pd.DataFrame(
        {
            "hydrant_id": ["H0", "H1", "H2", "H3", "H4"],
            "selected": [True, False, False, False, False],
            "priority": [0.1, 9.0, 5.0, 1.0, np.nan],
        }
    )
    ids = pd.Series(["H5", "H4", "H3", "H2", "H1", "H0"])
    assert labels(season_theme(ids, selection)) == [
        "No job", "Left, not ranked", "Left, low priority", "Left, middle", "Left, high priority",
        "In the season",
    ]  # fmt: skip


def every_theme():
    checked = table(
        verdict=["low"] * 8, remedy=["extend"] * 8, p_inside=[0.1] * 8,
        kit_length_in=[6.0, 8, 12, 16, 18, 24, 36, 48],
        reading_date=pd.to_datetime(["2026-01-01"] * 8),
    )  # fmt: skip
    selection = pd.DataFrame({"hydrant_id": ["H0"], "selected": [True], "priority": [1.0]})
    return themes_of(
        checked, today=dt.date(2026, 9, 30), flow_gpm=np.full(8, 900.0), selection=selection
    )


def test_what_is_not_known_is_not_offered():
    assert [theme.name for theme in every_theme()] == [
        "verdict", "remedy", "probability", "age", "season", "flow",
    ]  # fmt: skip
    bare = themes_of(table(verdict=["low"]), flow_gpm=np.array([np.nan]))
    assert [theme.name for theme in bare] == ["verdict", "remedy", "probability"]


@pytest.mark.parametrize("theme", every_theme(), ids=lambda theme: theme.name)
def test_marks_are_told_apart_without_color_and_in_gray(theme):
    """By shape, or by size where classes are steps of one thing."""
    shapes = [(look.points, look.size) for look in theme.looks]
    for one, other in itertools.combinations(shapes, 2):
        assert one[0] != other[0] or abs(one[1] - other[1]) >= 0.05
    assert len({look.label for look in theme.looks}) == len(theme.looks)
    assert sorted(theme.order) == list(range(len(theme.looks)))
    assert theme.codes.max() < len(theme.looks)


def test_the_first_theme_is_that_of_the_verdicts():
    assert every_theme()[0].looks == LOOKS


def test_what_nobody_judged_is_not_said_to_need_nothing():
    judged = table(
        remedy=np.array(["none", "none", "measure"], dtype=object),
        verdict=np.array(["inside", None, None], dtype=object),
    )
    assert labels(remedy_theme(judged)) == ["Nothing to do", "Not judged", "Measure"]
