"""Sentences with numbers in them, for whole columns at once."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def numbers(values: ArrayLike, digits: int = 2) -> NDArray[np.object_]:
    """
    Numbers as people write them: rounded, no trailing zeros, `?` where missing.

    Examples
    --------
    >>> numbers([18.0, 19.504, float("nan")]).tolist()
    ['18', '19.5', '?']
    """
    rounded = np.round(np.asarray(values, dtype=np.float64), digits) + 0.0
    unlimited = np.isinf(rounded)
    array = pc.cast(pa.array(np.where(unlimited, 0.0, rounded), from_pandas=True), pa.string())
    text = pc.fill_null(array, "?").to_numpy(zero_copy_only=False)
    return np.where(unlimited, "no limit", text)


def fill(template: str, **columns: ArrayLike | str) -> NDArray[np.object_]:
    """
    A sentence a row: `{name}` stands for the row's value of that column.

    Parameters
    ----------
    template
        Text with `{name}` marks.
    **columns
        Numbers or text, one length n, or one text for all rows.

    Returns
    -------
    sentences
        Text, shape (n,).

    Examples
    --------
    >>> fill("{k} in gives {y}", k=np.array([6.0, 12.0]), y=np.array([19.5, 25.5])).tolist()
    ['6 in gives 19.5', '12 in gives 25.5']
    """
    pieces: list[object] = []
    for piece in re.split(r"(\{\w+\})", template):
        if not (piece.startswith("{") and piece.endswith("}")):
            pieces.append(pa.scalar(piece))
            continue
        column = columns[piece[1:-1]]
        if isinstance(column, str):
            pieces.append(pa.scalar(column))
            continue
        array = np.asarray(column)
        if np.issubdtype(array.dtype, np.number):
            text = numbers(array)
        else:
            text = np.where(pd.isna(array), "?", array.astype(object))
        pieces.append(pa.array(text.tolist(), type=pa.string()))
    joined = pc.binary_join_element_wise(*pieces, pa.scalar(""))
    return np.asarray(joined.to_numpy(zero_copy_only=False), dtype=object)


def as_text(series: pd.Series) -> pd.Series:
    """
    Text without blanks round it; whole numbers that a format made real stay whole.

    Examples
    --------
    >>> as_text(pd.Series([12.0, None])).tolist()
    ['12', nan]
    """
    if pd.api.types.is_float_dtype(series.dtype):
        whole = series.notna() & (series == series.round()) & (series.abs() < 1e15)
        text = series.astype("str").where(~whole, series.where(whole).astype("Int64").astype("str"))
        return text.mask(series.isna())
    text = series.astype("str").str.strip()
    return text.mask(series.isna() | (text == ""))


def datum_key(name: str) -> str:
    """
    A vertical datum's name without blanks, marks and case.

    Examples
    --------
    >>> datum_key("NAVD 88") == datum_key("navd88")
    True
    """
    return "".join(letter for letter in name.casefold() if letter.isalnum())
