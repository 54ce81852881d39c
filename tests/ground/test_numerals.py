"""Numbers written by hand, beside a reader of single cells in plain Python."""

from __future__ import annotations

import math
from decimal import Decimal, InvalidOperation

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.numerals import decimal_mark, read_numbers, with_dots

OTHER = {".": ",", ",": "."}
GROUPS = {".": (",",), ",": (".", " ", "\u00a0", "\u202f", "'")}


def by_hand(cell: str, mark: str) -> Decimal | None:
    """What the cell is where `mark` is the decimal mark, None where it is no number then."""
    body = cell.removeprefix("-").removeprefix("+")
    whole, found, part = body.partition(mark)
    if (found and part and not part.isdecimal()) or not (whole or part):
        return None
    groups = [whole]
    for between in GROUPS[mark]:
        if between in whole:
            groups = whole.split(between)
    if len(groups) > 1:
        good = [len(g) == 3 for g in groups[1:]] + [1 <= len(groups[0]) <= 3, groups[0][:1] != "0"]
        if not all(good):
            return None
    digits = "".join(groups)
    if digits and not digits.isdecimal():
        return None
    try:
        value = Decimal(f"{digits or '0'}.{part or '0'}")
    except InvalidOperation:
        return None
    return -value if cell.startswith("-") else value


def proof(cells: list[str]) -> str | None:
    """The mark that a column proves: some cell is a number with it alone, none with the other."""
    marked = [c for c in cells if "." in c or "," in c]
    only = {
        mark: any(by_hand(c, mark) is not None and by_hand(c, OTHER[mark]) is None for c in marked)
        for mark in OTHER
    }
    if only["."] == only[","]:
        return None
    return "." if only["."] else ","


def grouped(number: Decimal, places: int, mark: str) -> str:
    text = f"{number:,.{places}f}"
    return text if mark == "." else text.translate({ord(","): ".", ord("."): ","})


amounts = st.tuples(
    st.integers(-(10**9), 10**9), st.integers(0, 4), st.booleans()
).map(lambda t: (Decimal(t[0]).scaleb(-t[1]), t[1], t[2]))  # fmt: skip


@pytest.mark.parametrize(
    ("cells", "mark"),
    [
        (["1,234", "759,710.50"], "."),
        (["1,234", "1.5"], "."),
        (["1,234,567", "1,234"], "."),
        (["0.125", "1,234"], "."),
        (["1.234", "1,5"], ","),
        (["1.234.567", "1.234"], ","),
        (["0,125"], ","),
        (["1 234,5"], ","),
        (["1,234", "2,500"], None),
        (["1,5", "2.5"], None),
        (["1.234", "1,234"], None),
        (["12", "n/a", "1 234"], None),
        ([], None),
    ],
)
def test_a_column_proves_its_mark_where_a_cell_fits_no_other(cells, mark) -> None:
    assert decimal_mark(pd.Series(cells, dtype="str")) == mark == proof(cells)


@given(st.lists(amounts, min_size=1, max_size=12), st.sampled_from([".", ","]))
def test_numbers_come_back_where_the_mark_is_said(numbers, mark) -> None:
    cells = [grouped(n, p, mark) if g or mark == "," else f"{n:.{p}f}" for n, p, g in numbers]
    values, reasons = read_numbers(pd.Series(cells, dtype="str"), mark)
    assert values.tolist() == [float(n) for n, _, _ in numbers]
    assert reasons.isna().all()


@given(st.lists(amounts, min_size=1, max_size=12), st.sampled_from([".", ","]))
def test_numbers_come_back_where_the_column_proves_its_mark_and_no_open_one_is_read(
    numbers, mark
) -> None:
    cells = [grouped(n, p, mark) for n, p, _ in numbers]
    values, reasons = read_numbers(pd.Series(cells, dtype="str"))
    proved = proof(cells)
    if proved is None:
        commas = any("," in cell for cell in cells)
        for cell, value, why in zip(cells, values, reasons, strict=True):
            if "," in cell or ("." in cell and commas):
                assert math.isnan(value)
                assert "--decimal" in why
    else:
        assert proved == mark
        assert values.tolist() == [float(n) for n, _, _ in numbers]


CELLS = st.one_of(
    amounts.map(lambda t: grouped(t[0], t[1], ".")),
    amounts.map(lambda t: grouped(t[0], t[1], ",")),
    amounts.map(lambda t: f"{t[0]:.{t[1]}f}"),
    st.sampled_from(
        ["1 234,5", "1'234", "1.234 567,5", "0,125", "0.125", ",5", ".5", "5.", "+3", "1,23,4", "x",
         "1,2,3", "1.2.3", "1,234.", "1.234,", "٣", "--1", "1e", "-", ",", "."]
    ),
)  # fmt: skip


@given(st.lists(CELLS, min_size=1, max_size=8), st.sampled_from([None, ".", ","]))
def test_every_cell_is_read_one_way_or_has_a_reason(cells, said) -> None:
    values, reasons = read_numbers(pd.Series(cells, dtype="str"), said)
    mark = said or proof(cells)
    for cell, value, why in zip(cells, values, reasons, strict=True):
        assert math.isnan(value) != pd.isna(why)
        if math.isnan(value):
            # nothing that the mark makes a number of is refused
            assert mark is None or by_hand(cell, mark) is None
            continue
        dot, comma = by_hand(cell, "."), by_hand(cell, ",")
        told = comma if mark == "," and comma is not None else dot
        assert value == float(told)
    # a dot marks thousands in all cells of a column, or in none
    told = {c: v for c, v in zip(cells, values, strict=True) if "." in c and not math.isnan(v)}
    dots = {c: by_hand(c, ".") for c in told}
    thousands = [c for c, v in told.items() if dots[c] is None or float(dots[c]) != v]
    decimals = [c for c in told if by_hand(c, ",") is None]
    assert not (thousands and decimals)


@given(st.lists(st.floats(-1e12, 1e12), min_size=1, max_size=10))
def test_what_python_writes_is_read_as_python_reads_it(numbers) -> None:
    values, reasons = read_numbers(pd.Series([repr(n) for n in numbers], dtype="str"))
    assert values.tolist() == numbers
    assert reasons.isna().all()


def test_blank_cells_stay_blank_and_the_index_stays() -> None:
    cells = pd.Series(["1,5", None, "x"], index=[7, 3, 5], dtype="str")
    values, reasons = read_numbers(cells)
    assert values.index.tolist() == [7, 3, 5]
    assert values[7] == 1.5
    assert pd.isna(reasons[3])
    assert math.isnan(values[3])
    assert reasons[5] == "no number"


@pytest.mark.parametrize(
    ("cells", "said", "result"),
    [
        (["2,5 m", "1.200,5 mm"], None, ["2.5 m", "1200.5 mm"]),
        (["1,234 mm", "2.5 mm"], None, ["1234 mm", "2.5 mm"]),
        (["1,234 mm"], None, ["1,234 mm"]),
        (["1,234 mm"], ".", ["1234 mm"]),
        (["1,234 mm"], ",", ["1.234 mm"]),
        (["1.200 mm"], ",", ["1200 mm"]),
        (["1.200 mm"], None, ["1.200 mm"]),
        (["0,125 m", "2,5 m"], None, ["0.125 m", "2.5 m"]),
        (["0,125 m"], ".", ["0,125 m"]),
        (["0.125 m"], ",", ["0.125 m"]),
        (["1'-6\"", "3,5 ft"], None, ["1'-6\"", "3.5 ft"]),
        (["2,5 m", "3.5 m"], None, ["2,5 m", "3.5 m"]),
        (["12 in", None], None, ["12 in", None]),
    ],
)
def test_numbers_inside_text_get_dots(cells, said, result) -> None:
    told = with_dots(pd.Series(cells, dtype="str"), said)
    assert told.astype(object).where(told.notna(), None).tolist() == result


@given(st.lists(amounts, min_size=1, max_size=8), st.sampled_from([".", ","]))
def test_lengths_written_with_marks_keep_their_number(numbers, mark) -> None:
    cells = pd.Series([grouped(n, p, mark) + " mm" for n, p, _ in numbers], dtype="str")
    told = with_dots(cells, mark)
    assert [Decimal(cell.removesuffix(" mm")) for cell in told] == [n for n, _, _ in numbers]
