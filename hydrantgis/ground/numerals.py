"""
Numbers written by hand: which mark is the decimal one, told by the user or proved by the column.

`1,234` alone may be a thousand and more, or one and a bit. A column proves its mark where one cell
can be read only one way and none only the other; what stays open is refused, never guessed.
"""

from __future__ import annotations

import pandas as pd

_LEAD = r"[1-9]\d{0,2}"
_DOT = rf"[+-]?(?:\d+|{_LEAD}(?:,\d{{3}})+)(?:\.\d*)?(?:[eE][+-]?\d+)?|[+-]?\.\d+(?:[eE][+-]?\d+)?"
_BLANK = r"[ \u00a0\u202f]"
_GROUPS = rf"{_LEAD}(?:(?:\.\d{{3}})+|(?:{_BLANK}\d{{3}})+|(?:'\d{{3}})+)"
_COMMA = rf"[+-]?(?:\d+|{_GROUPS})(?:,\d*)?|[+-]?,\d+"
_PLAIN = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_DOTTED = rf"[+-]?{_LEAD}(?:\.\d{{3}})+"
"""Thousands beside a decimal comma; with one dot, also a number with a decimal dot."""
_ASK = "the {} may mark thousands or decimals; say --decimal . or --decimal ,"
DECIMALS = (".", ",")


def decimal_mark(texts: pd.Series) -> str | None:
    """
    The decimal mark that a column proves; None where no cell proves one or they contradict.

    Examples
    --------
    >>> decimal_mark(pd.Series(["1,234", "759,710.50"])), decimal_mark(pd.Series(["1,5", "2"]))
    ('.', ',')
    >>> decimal_mark(pd.Series(["1,234", "2,500"]))
    """
    cells = pd.Series(texts.dropna().unique(), dtype="str")
    marked = cells[cells.str.contains("[.,]")]
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
    reasons = pd.Series(None, index=texts.index, dtype="str")
    if not left.any() and decimal != ",":
        return values, reasons
    mark = decimal or decimal_mark(texts)
    fits = {".": texts.str.fullmatch(_DOT, na=False), ",": texts.str.fullmatch(_COMMA, na=False)}
    dotted = texts.str.fullmatch(_DOTTED, na=False)
    if mark is None:
        # what one mark or the other would make a number of, and dots that would then mark thousands
        comma = left & (fits["."] | fits[","]) & texts.str.contains(",", regex=False, na=False)
        dot = dotted & bool(comma.any() or (left & dotted).any())
        reasons = reasons.mask(left, "no number").mask(dot, _ASK.format("dot"))
        return values.mask(dot), reasons.mask(comma, _ASK.format("comma"))
    read = (left & fits[mark]) | (dotted & (mark == ","))
    bare = texts[read].str.replace("," if mark == "." else r"[. \u00a0\u202f']", "", regex=True)
    values[read] = bare.str.replace(",", ".", regex=False).astype("float64")
    if mark == "," and texts[fits[","]].str.contains(".", regex=False).any():
        # a dot that marks thousands in one cell marks no decimals in another
        values = values.mask(~fits[","])
    reasons = reasons.mask(texts.notna() & values.isna(), "no number")
    return values, reasons


def with_dots(texts: pd.Series, decimal: str | None = None) -> pd.Series:
    """
    The same text, numbers in it without marks of thousands and with a decimal dot.

    Cells stay as they are where neither the user nor the column says which mark is which. Where a
    dot marks thousands in one cell it marks no decimals in another: that one gets a comma, which no
    reader of lengths or flows takes.

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
    groups = r"(?<=\d)(?<!(?<!\d)0){}(?=\d{{3}}(?!\d))"  # nobody writes thousands as 0,125
    if mark == ".":
        return texts.str.replace(groups.format(","), "", regex=True)
    whole = texts.str.replace(groups.format("[.\u00a0\u202f]"), "", regex=True)
    dots = texts.str.contains(".", regex=False, na=False)
    left = whole.str.contains(r"\d\.\d", na=False)
    commas = whole.str.replace(r"(?<=\d),(?=\d)", ".", regex=True)
    if not (dots & ~left).any():
        return commas
    return commas.mask(left, texts.str.replace(".", ",", regex=False))
