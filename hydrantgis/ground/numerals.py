"""
Numbers written by hand: which mark is the decimal one, told by the user or proved by the column.

`1,234` alone may be a thousand and more, or one and a bit. A column proves its mark where one cell
can be read only one way and none only the other; what stays open is refused, never guessed.
"""

from __future__ import annotations

import pandas as pd

_DOT = r"[+-]?(?:\d+|\d{1,3}(?:,\d{3})+)(?:\.\d*)?(?:[eE][+-]?\d+)?|[+-]?\.\d+(?:[eE][+-]?\d+)?"
_COMMA = r"[+-]?(?:\d+|\d{1,3}(?:[. \u00a0\u202f']\d{3})+)(?:,\d*)?|[+-]?,\d+"
_PLAIN = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_OPEN = r"[+-]?\d{1,3},\d{3}"
"""Thousands with a decimal dot, or a number with a decimal comma: one cell cannot say which."""
DECIMALS = (".", ",")


def decimal_mark(texts: pd.Series) -> str | None:
    """
    The decimal mark that a column proves; None where no cell needs one or they contradict.

    Examples
    --------
    >>> decimal_mark(pd.Series(["1,234", "759,710.50"])), decimal_mark(pd.Series(["1,5", "2"]))
    ('.', ',')
    >>> decimal_mark(pd.Series(["1,234", "2,500"]))
    """
    cells = pd.Series(texts.dropna().unique(), dtype="str")
    marked = cells[cells.str.contains(",", regex=False)]
    dot, comma = marked.str.fullmatch(_DOT), marked.str.fullmatch(_COMMA)
    only_dot, only_comma = bool((dot & ~comma).any()), bool((comma & ~dot).any())
    if only_dot == only_comma:
        return None
    return "." if only_dot else ","


def read_numbers(texts: pd.Series, decimal: str | None = None) -> tuple[pd.Series, pd.Series]:
    """
    Numbers of a column of text, and why a cell is none.

    Parameters
    ----------
    texts
        Missing cells stay missing.
    decimal
        `.` or `,`; what the column proves where it is None.

    Returns
    -------
    values, reasons
        Same index; a reason where a filled cell is no number.

    Examples
    --------
    >>> values, reasons = read_numbers(pd.Series(["759,710.50", "12", "x", None]))
    >>> values.tolist(), reasons.dropna().tolist()
    ([759710.5, 12.0, nan, nan], ['no number'])
    >>> read_numbers(pd.Series(["1,234"]))[1].tolist()
    ['the comma may mark thousands or decimals; say --decimal . or --decimal ,']
    """
    values = pd.to_numeric(texts.where(texts.str.fullmatch(_PLAIN, na=False)), errors="coerce")
    values = values.astype("float64")
    left = texts.notna() & values.isna()
    mark = decimal or (decimal_mark(texts[left]) if left.any() else None)
    reasons = pd.Series(None, index=texts.index, dtype="str")
    if not left.any() and mark is None:
        return values, reasons
    if mark is not None:
        fits = left & texts.str.fullmatch(_DOT if mark == "." else _COMMA, na=False)
        bare = texts[fits].str.replace("," if mark == "." else r"[. \u00a0\u202f']", "", regex=True)
        values[fits] = bare.str.replace(",", ".", regex=False).astype("float64")
        left &= ~fits
    if mark == ",":
        # where the comma is the decimal mark, 1.234 is a thousand and more
        dotted = texts.notna() & texts.str.fullmatch(r"[+-]?\d{1,3}(?:\.\d{3})+", na=False)
        values[dotted] = texts[dotted].str.replace(".", "", regex=False).astype("float64")
    open_ = left & texts.str.fullmatch(_OPEN, na=False)
    reasons = reasons.mask(left, "no number").mask(
        open_, "the comma may mark thousands or decimals; say --decimal . or --decimal ,"
    )
    return values, reasons


def with_dots(texts: pd.Series, decimal: str | None = None) -> pd.Series:
    """
    The same text, numbers in it without marks of thousands and with a decimal dot.

    Cells stay as they are where neither the user nor the column says which mark is which.

    Examples
    --------
    >>> with_dots(pd.Series(["2,5 m", "1.200,5 mm"])).tolist()
    ['2.5 m', '1200.5 mm']
    >>> with_dots(pd.Series(["1,234 mm"])).tolist()
    ['1,234 mm']
    """
    if not texts.str.contains(",", regex=False, na=False).any() and decimal != ",":
        return texts
    bare = texts.str.extract(r"^\s*([+-]?[\d.,\u00a0\u202f']+)", expand=False)
    mark = decimal or decimal_mark(bare)
    if mark is None:
        return texts
    if mark == ".":
        return texts.str.replace(r"(?<=\d),(?=\d{3}(?!\d))", "", regex=True)
    whole = texts.str.replace(r"(?<=\d)[.\u00a0\u202f](?=\d{3}(?!\d))", "", regex=True)
    return whole.str.replace(r"(?<=\d),(?=\d)", ".", regex=True)
