"""What surveyors write beside a point: what it stands on, and at which hydrant."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.errors import WordsError
from hydrantgis.intake.descriptions import FIELD_CODES, SHOT_KINDS, hydrant_id_in, shot_kind


def kind(text: str | None, codes=None) -> str:
    kinds, _ = shot_kind(pd.Series([text], dtype="str"), codes)
    return kinds.item()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("GND", "ground"), ("gs", "ground"), ("EG", "ground"), ("GS12", "ground"),
        ("GND AT FH HYD-0123", "ground"), ("GND,wet", "ground"), ("(grnd)", "ground"),
        ("FH NUT", "nut"), ("HYD-NUT", "nut"), ("top nut", "nut"), ("OP NUT.", "nut"),
        ("TC", "curb"), ("TC1", "curb"), ("TOP OF CURB", "curb"), ("TBC", "curb"),
        ("FLANGE", "flange"), ("BOTTOM OF FLANGE", "flange"), ("breakaway flange", "flange"),
        ("WALL", "wall"), ("TOP OF WALL", "wall"),
        ("OUTLET", "outlet"), ("PUMPER", "outlet"), ("CL OUTLET", "outlet-centerline"),
        ("center of pumper nozzle", "outlet-centerline"), ("BOT STEAMER", "outlet-bottom"),
        ("FH", "unknown"), ("HYD", "unknown"), ("", "unknown"), (None, "unknown"),
        ("MAILBOX", "unknown"), ("123", "unknown"), ("CL", "unknown"), ("BOTTOM", "unknown"),
        # the number of something is no word
        ("FL-12", "unknown"), ("GND-0123", "unknown"), ("CL-7 OUTLET", "outlet"),
    ],
)  # fmt: skip
def test_words_of_field_books(text, expected) -> None:
    assert kind(text) == expected


@pytest.mark.parametrize(
    "text",
    ["BC", "FL", "FL CURB", "BW", "GND EP", "GND AT CURB", "CURB-WALL", "BOTTOM OF CURB",
     "BOT WALL", "TOP FLANGE", "TOP OF NOZZLE", "CL BOT OUTLET", "INV OUTLET", "VALVE NUT"],
)  # fmt: skip
def test_words_that_may_mean_several_things_are_not_used_and_told(text) -> None:
    kinds, told = shot_kind(pd.Series([text, "GND", text], index=[5, 6, 9]))
    assert kinds.to_dict() == {5: "unknown", 6: "ground", 9: "unknown"}
    assert told["code"].tolist() == ["shot-word-ambiguous"]
    assert f"`{text}` (2)" in told["value"].item()
    assert told["message"].item().startswith("2 shots are not used")


def test_a_user_says_what_a_word_or_a_whole_description_stands_for() -> None:
    codes = {"bc": "curb", "gnd at curb": "ground", "NUT": "unknown", "noz": "outlet-centerline"}
    assert kind("BC", codes) == "curb"
    assert kind("BC GND", codes) == "unknown"
    assert kind(" GND  at CURB ", codes) == "ground"
    assert kind("FH NUT", codes) == "unknown"
    assert kind("NOZ", codes) == "outlet-centerline"
    assert kind("BOT NOZ", codes) == "unknown"
    assert kind("TC", codes) == "curb"
    assert shot_kind(pd.Series(["GND at CURB"]), codes)[1].empty
    with pytest.raises(WordsError, match="do not stand on moon"):
        shot_kind(pd.Series(["GND"]), {"X": "moon"})


def test_the_table_of_words_is_of_things_that_shots_stand_on() -> None:
    assert set(FIELD_CODES.values()) <= {*SHOT_KINDS, "centerline", "bottom", "top", "ambiguous"}
    assert all(word == word.upper() for word in FIELD_CODES)


@given(st.lists(st.one_of(st.none(), st.text(max_size=12)), max_size=8))
def test_any_text_is_of_some_kind(texts) -> None:
    clean = [t if t is None else t.encode("utf-8", "ignore").decode() for t in texts]
    series = pd.Series(clean, index=range(3, 3 + len(clean)), dtype="str")
    kinds, _ = shot_kind(series)
    assert kinds.index.equals(series.index)
    assert set(kinds) <= set(SHOT_KINDS)


@given(st.lists(st.sampled_from([*FIELD_CODES, "FH", "X", "12"]), max_size=4), st.randoms())
def test_the_order_of_words_does_not_matter(words, random) -> None:
    turned = list(words)
    random.shuffle(turned)
    assert kind(" ".join(words)) == kind(", ".join(turned).lower())


IDS = pd.Series(["HYD-0123", "HYD-0124", "12", "FH 9", "h.7", "A#5", None, "HYD-0123"])


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("FH HYD-0123 NUT", "HYD-0123"), ("hyd-0123", "HYD-0123"), ("GND,(HYD-0124).", "HYD-0124"),
        ("HYD-0123 by HYD-0123", "HYD-0123"), ("nut FH 9", "FH 9"), ("fh  9: nut", "FH 9"),
        ("H.7 flange", "h.7"), ("A#5", "A#5"), ("a #5 nut", "A#5"), ("FH 12 NUT", "12"),
        ("FH #12", "12"), ("hydrant 12", "12"), ("12", "12"), (" 12. ", "12"),
        ("HYD-01234", None), ("HYD-012", None), ("XHYD-0123", None), ("HYD 0123", None),
        ("FH", None), ("9", None), ("", None), (None, None), ("GND", None),
    ],
)  # fmt: skip
def test_an_id_counts_where_it_stands_as_a_whole(text, found) -> None:
    ids, reasons = hydrant_id_in(pd.Series([text], dtype="str", index=[8]), IDS)
    assert (None if pd.isna(ids[8]) else ids[8]) == found
    assert pd.isna(reasons[8])


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("HYD-0123 TO HYD-0124", "names several hydrants"),
        ("FH 9 AND h.7", "names several hydrants"),
        ("GND 12 IN LOW", "a number alone, which may be any number"),
        ("12 GND", "a number alone, which may be any number"),
    ],
)
def test_an_id_that_is_not_taken_has_a_reason(text, reason) -> None:
    ids, reasons = hydrant_id_in(pd.Series([text, "HYD-0124"]), IDS)
    assert ids.isna().tolist() == [True, False]
    assert reasons[0] == reason
    assert pd.isna(reasons[1])


def test_the_word_for_a_hydrant_stands_in_the_same_description() -> None:
    ids, _ = hydrant_id_in(pd.Series(["NUT OF FH", "12 GND"]), IDS)
    assert ids.isna().all()


def test_a_number_alone_beside_a_whole_id_does_not_count() -> None:
    ids, reasons = hydrant_id_in(pd.Series(["HYD-0123 GND 12 IN LOW"]), IDS)
    assert ids.tolist() == ["HYD-0123"]
    assert reasons.isna().all()


def test_ids_that_differ_by_case_alone_are_not_told_apart() -> None:
    ids, reasons = hydrant_id_in(pd.Series(["nut H1", "H2"]), pd.Series(["H1", "h1", "H2"]))
    assert ids.isna().tolist() == [True, False]
    assert reasons[0] == "ids that differ by case or marks alone"


def test_without_ids_or_texts_there_is_nothing() -> None:
    none = pd.Series([], dtype="str")
    assert hydrant_id_in(pd.Series(["H1"]), none)[0].isna().all()
    assert hydrant_id_in(none, pd.Series(["H1"]))[0].empty
    assert shot_kind(none)[0].empty


names = st.from_regex(r"[A-Z]{1,3}-?[0-9]{1,3}[A-Z]?", fullmatch=True)


@given(
    ids=st.lists(names, min_size=1, max_size=6, unique=True),
    texts=st.lists(st.lists(st.one_of(names, st.just("GND")), max_size=4), max_size=6),
    data=st.data(),
)
def test_ids_are_found_as_by_a_plain_loop(ids, texts, data) -> None:
    said = [[*words, *data.draw(st.lists(st.sampled_from(ids), max_size=2))] for words in texts]
    expected = []
    for words in said:
        found = {word for word in words if word in ids}
        expected.append(found.pop() if len(found) == 1 else None)
    series = pd.Series([" ".join(words) for words in said], dtype="str")
    told, reasons = hydrant_id_in(series, pd.Series(ids))
    assert [None if pd.isna(value) else value for value in told] == expected
    assert reasons.notna().tolist() == [len({*words} & {*ids}) > 1 for words in said]
