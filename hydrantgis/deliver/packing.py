"""
Columns packed for a page: small, exact to the digits shown, read when the page needs them.

A column travels as whole numbers, the lowest byte of all rows first, then the next one: bytes of a
kind stand together and deflate well. Text is split into a sentence and the figures in it, so that
`12 Alder Ct` and `14 Alder Ct` share a sentence, and so do `TB-0012` and `TB-0044`.
"""

from __future__ import annotations

import base64
import json
import re
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

Packed = dict[str, Any]

_MOST = 2**32 - 2
_EFFORT, _TRIAL = 6, 1
"""Of deflating: more of it is hardly smaller and far slower. The trial finds what is smaller."""
_FIGURE = re.compile("[1-9][0-9]{0,8}")
_ROW_ENDS, _FIGURE_STANDS = "\x00", "\x01"
_MOST_FIGURES = 8
"""In one text, beyond which its figures stay in its sentence."""
_EPOCH = np.datetime64("1970-01-01", "D")


def deflated(content: bytes) -> str:
    """
    Bytes as text that a page can hold, deflated (RFC 1950) and in base 64 (RFC 4648).

    Examples
    --------
    >>> zlib.decompress(base64.b64decode(deflated(b"aaaa")))
    b'aaaa'
    """
    return base64.b64encode(zlib.compress(content, _EFFORT)).decode("ascii")


def _planes(codes: NDArray[np.uint32]) -> tuple[bytes, int]:
    """Return the bytes of all codes, the lowest of each first, and how many each code has."""
    most = int(codes.max(initial=0))
    width = 1 if most < 2**8 else 2 if most < 2**16 else 4
    rows = codes.astype("<u4").view(np.uint8).reshape(-1, 4)[:, :width]
    return rows.T.tobytes(), width


def packed_whole(
    values: NDArray[np.int64], known: NDArray[np.bool_] | None = None
) -> Packed | None:
    """
    Whole numbers, as they stand or each less the one before, whichever is smaller.

    Parameters
    ----------
    values
        Shape (n,).
    known
        Where false, the value is missing; all are known where it is left out.

    Returns
    -------
    packed
        `data` deflated, `width` in bytes, `least`, and the flags `gaps` (code 0 is missing) and
        `steps` (each code less the one before, with the sign in the last bit). None where the
        numbers are too far apart for four bytes.

    Examples
    --------
    >>> packed = packed_whole(np.array([7, 9, 8]))
    >>> packed["least"], packed["width"], packed["gaps"]
    (7, 1, False)
    """
    there = np.ones(len(values), dtype=bool) if known is None else known
    gaps = not there.all()
    least = int(values[there].min()) if there.any() else 0
    most = int(values[there].max()) if there.any() else 0
    if most - least > _MOST:
        return None
    codes = np.where(there, values - least + gaps, 0).astype(np.uint32)
    choices = [(codes, False)]
    away = codes.astype(np.int64)
    away[1:] -= away[:-1].copy()
    if np.abs(away).max(initial=0) < 2**31:
        choices.append((((away << 1) ^ (away >> 63)).astype(np.uint32), True))
    planes = [(*_planes(sent), steps) for sent, steps in choices]
    content, width, steps = min(planes, key=lambda one: len(zlib.compress(one[0], _TRIAL)))
    return {
        "data": deflated(content), "width": width, "least": least, "gaps": gaps, "steps": steps,
    }  # fmt: skip


def packed_numbers(values: NDArray[np.float64], digits: int) -> Packed | None:
    """
    Numbers to so many digits behind the point; missing where they are missing or endless.

    Returns
    -------
    packed
        Of kind `number`, or `text` where they are too far apart. None where all are missing.

    Examples
    --------
    >>> packed_numbers(np.array([1.25, np.nan]), 2)["least"]
    125
    """
    known = np.isfinite(values)
    if not known.any():
        return None
    scale = 10**digits
    # beyond this a float no longer holds every whole number
    if np.abs(values[known]).max() * scale < 2**52:
        whole = np.round(np.where(known, values, 0.0) * scale).astype(np.int64)
        packed = packed_whole(whole, known)
        if packed is not None:
            return {"kind": "number", "scale": scale, **packed}
    texts = np.full(len(values), None, dtype=object)
    texts[known] = [f"{value:.12g}" for value in values[known].tolist()]
    return packed_text(texts)


def packed_dates(values: pd.Series[Any]) -> Packed | None:
    """Days since 1970-01-01, of kind `date`; None where all are missing."""
    known = values.notna().to_numpy()
    if not known.any():
        return None
    days = values.to_numpy().astype("datetime64[D]")
    whole = np.where(known, (days - _EPOCH).astype(np.int64), 0)
    packed = packed_whole(whole, known)
    return None if packed is None else {"kind": "date", **packed}


def packed_text(texts: NDArray[np.object_]) -> Packed | None:
    """
    Texts as sentences, and the figures in them.

    Parameters
    ----------
    texts
        Shape (n,); None where missing.

    Returns
    -------
    packed
        Of kind `text`: the distinct `sentences` with U+0001 where a figure stands, the `codes` of
        the rows' sentences, and the `figures`, first ones first. None where all are missing.

    Examples
    --------
    >>> packed = packed_text(np.array(["TB-0012", None, "TB-0044"], dtype=object))
    >>> sentences = json.loads(zlib.decompress(base64.b64decode(packed["sentences"])))
    >>> len(sentences), len(packed["figures"])
    (1, 1)
    """
    known = np.array([text is not None for text in texts.tolist()], dtype=bool)
    if not known.any():
        return None
    whole = _ROW_ENDS.join(texts[known].tolist())
    plain = whole.count(_ROW_ENDS) != known.sum() - 1 or _FIGURE_STANDS in whole
    sentences, columns = (texts[known].tolist(), []) if plain else _split(whole, int(known.sum()))
    codes, distinct = pd.factorize(np.array(sentences, dtype=object))
    of_rows = np.zeros(len(texts), dtype=np.int64)
    of_rows[known] = codes
    figures = []
    for values, there in columns:
        spread, found = np.zeros(len(texts), dtype=np.int64), np.zeros(len(texts), dtype=bool)
        spread[known], found[known] = values, there
        figures.append(packed_whole(spread, found))
    return {
        "kind": "text",
        "sentences": deflated(json.dumps(distinct.tolist(), ensure_ascii=True).encode()),
        "codes": packed_whole(of_rows, known),
        "figures": figures,
    }


def _split(
    whole: str, count: int
) -> tuple[list[str], list[tuple[NDArray[np.int64], NDArray[np.bool_]]]]:
    """Return the sentences of rows that are joined to one text, and their figures by place."""
    figures = np.array(_FIGURE.findall(whole), dtype=object)
    sentences = _FIGURE.sub(_FIGURE_STANDS, whole).split(_ROW_ENDS)
    of_row = np.fromiter((s.count(_FIGURE_STANDS) for s in sentences), np.int64, count)
    if of_row.max(initial=0) > _MOST_FIGURES:
        return whole.split(_ROW_ENDS), []
    numbers = figures.astype(np.int64)
    starts = np.concatenate([[0], np.cumsum(of_row)[:-1]])
    columns = []
    for place in range(int(of_row.max(initial=0))):
        there = of_row > place
        values = np.zeros(count, dtype=np.int64)
        values[there] = numbers[starts[there] + place]
        columns.append((values, there))
    return sentences, columns


def packed_column(values: pd.Series[Any], digits: int = 2) -> Packed | None:
    """
    A column by what it holds; None where all of it is missing.

    Parameters
    ----------
    values
        Dates, flags, numbers or text.
    digits
        Behind the point, of numbers.
    """
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        return packed_dates(values)
    if pd.api.types.is_bool_dtype(values.dtype):
        return packed_text(_texts(values.map({True: "yes", False: "no"})))
    if pd.api.types.is_numeric_dtype(values.dtype):
        return packed_numbers(values.to_numpy(dtype=np.float64, na_value=np.nan), digits)
    return packed_text(_texts(values))


def _texts(values: pd.Series[Any]) -> NDArray[np.object_]:
    plain = values.astype("object")
    missing = plain.isna().to_numpy()
    texts = plain.to_numpy().copy()
    texts[missing] = None
    texts[~missing] = [str(value) for value in texts[~missing].tolist()]
    return texts


def packed_sum(
    total: NDArray[np.float64], parts: dict[str, NDArray[np.float64]], digits: int
) -> Packed | None:
    """
    A column that is the sum of others wherever it is known, told as that.

    Parameters
    ----------
    total
        The column. Shape (n,)
    parts
        Other columns of the page, by name, in the unit of the total.
    digits
        To which all of them are shown.

    Returns
    -------
    packed
        Of kind `sum` with the names `of` its parts and a packed `where`; None where it is not
        their sum to the digits shown, or some part is missing where the total is not.

    Examples
    --------
    >>> parts = {"a": np.array([1.0, 2.0]), "b": np.array([0.5, 6.0])}
    >>> packed_sum(np.array([1.5, np.nan]), parts, 2)["of"]
    ['a', 'b']
    >>> packed_sum(np.array([1.6, np.nan]), parts, 2) is None
    True
    """
    known = np.isfinite(total)
    scale = 10**digits
    of_parts = sum(np.round(values[known] * scale) for values in parts.values())
    if not known.any() or not np.array_equal(np.round(total[known] * scale), of_parts):
        return None
    return {
        "kind": "sum", "of": list(parts), "scale": scale,
        "where": packed_whole(known.astype(np.int64)),
    }  # fmt: skip


def size_of(packed: object) -> int:
    """Bytes that it takes in the page."""
    return len(json.dumps(packed, ensure_ascii=True, separators=(",", ":")))
