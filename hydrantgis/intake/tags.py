"""
Tags packed in one column, as one column a key.

Two packings are known. The text of PostgreSQL's hstore, as it is written out (`"ref"=>"12"`, both
sides in quotes, a backslash before a quote or a backslash, NULL for no value) [1]_; and a JSON
object [2]_, of which objects inside are parted by `.` and lists are kept as JSON text.

References
----------
.. [1] PostgreSQL documentation, appendix F, hstore: external representation.
.. [2] RFC 8259.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

MOST_KEYS = 300
"""Keys of one column that become columns; those filled least stay packed, as JSON."""

_SHAPES = {
    "Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon",
    "GeometryCollection",
}  # fmt: skip
_QUOTED = r'"([^"\\]*(?:\\.[^"\\]*)*)"'
_PAIR = re.compile(rf"\s*{_QUOTED}\s*=>\s*(?:{_QUOTED}|(?i:NULL))\s*(,|$)", re.DOTALL)
_ESCAPED = re.compile(r"\\(.)", re.DOTALL)

Tags = dict[str, str | None]


class _Number(str):
    """A number of a JSON text, letter for letter: `12.50` stays `12.50`."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class _Parts:
    """A column's keys, one column each, and the rest of too many keys as JSON."""

    keys: pd.DataFrame
    rest: pd.Series | None


def unpack(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """
    Columns of packed tags as one column a key.

    Parameters
    ----------
    frame
        Rows of a source. A column of text, or of the objects that a reader makes of JSON, is taken
        as packed where every filled cell can be unpacked and at least one holds a key; a column
        with a single cell that cannot stays as it is.

    Returns
    -------
    rows
        Same rows; the packed column's place is taken by its keys, those filled most first, as
        text, missing where the row has no such key. A key whose name another column has is called
        `column.key`. Of more than `MOST_KEYS` keys the rest stay in the column as a JSON object.
    unpacked
        Names of the columns that were unpacked.

    Examples
    --------
    >>> rows, names = unpack(pd.DataFrame({"id": [1, 2], "tags": ['"ref"=>"12"', None]}))
    >>> names, list(rows.columns), rows["ref"].tolist()
    (['tags'], ['id', 'ref'], ['12', nan])
    """
    made = {name: parts for name in frame.columns if (parts := _unpack_column(frame[name]))}
    if not made:
        return frame, []
    taken = {str(name) for name in frame.columns if name not in made or made[name].rest is not None}
    order: list[str] = []
    pieces: list[pd.DataFrame | pd.Series] = [frame.drop(columns=list(made))]
    for name in frame.columns:
        if name not in made:
            order.append(name)
            continue
        parts, named = made[name], {}
        for key in parts.keys.columns:
            named[key] = _free(key, name, taken)
            taken.add(named[key])
        pieces.append(parts.keys.rename(columns=named))
        order += named.values()
        if parts.rest is not None:
            pieces.append(parts.rest)
            order.append(name)
    return pd.concat(pieces, axis=1)[order], list(made)


def _free(key: str, column: str, taken: set[str]) -> str:
    """A name for a key's column that no other column has."""
    name = key
    while name in taken or not name.strip():
        name = f"{column}.{name}"
    return name


def _unpack_column(cells: pd.Series) -> _Parts | None:
    """The parts of a column, or None where it holds no packed tags."""
    if not (cells.dtype == object or isinstance(cells.dtype, pd.StringDtype)):
        return None
    filled = cells.dropna()
    if filled.empty or _tags_of(filled.iloc[0]) is None:
        return None
    if cells.dtype == object:
        cells = cells.map(_dict_as_text)
    if pd.api.types.infer_dtype(cells, skipna=True) != "string":
        return None
    # many rows have the same tags: each text is parsed once and handed to its rows
    codes, distinct = pd.factorize(cells)
    read: list[Tags] = []
    for cell in distinct:
        tags = _tags_of(cell)
        if tags is None:
            return None
        read.append(tags)
    places: dict[str, list[int]] = {}
    for place, tags in enumerate(read):
        for key in tags:
            places.setdefault(key, []).append(place)
    if not places:
        return None
    weights = np.bincount(codes[codes >= 0], minlength=len(read))
    ranked = sorted(places, key=lambda key: (-int(weights[places[key]].sum()), key))

    def spread(at: list[int], values: list[str | None]) -> pd.Series:
        known = np.full(len(read) + 1, None, dtype=object)  # the last is that of a missing cell
        known[at] = values
        return pd.Series(pd.array(known, dtype="str").take(codes), index=cells.index)

    columns = {
        key: spread(places[key], [read[place][key] for place in places[key]])
        for key in ranked[:MOST_KEYS]
    }
    rare = ranked[MOST_KEYS:]
    if not rare:
        return _Parts(pd.DataFrame(columns, index=cells.index), None)
    left: dict[int, Tags] = {}
    for key in rare:
        for place in places[key]:
            left.setdefault(place, {})[key] = read[place][key]
    rest = spread(list(left), [json.dumps(tags, ensure_ascii=False) for tags in left.values()])
    return _Parts(pd.DataFrame(columns, index=cells.index), rest.rename(str(cells.name)))


def _dict_as_text(cell: object) -> object:
    """What a reader made of a JSON object, as its text again; anything else as it is."""
    return json.dumps(cell, ensure_ascii=False, default=str) if isinstance(cell, dict) else cell


def _tags_of(cell: object) -> Tags | None:
    """The tags of one cell, or None where it holds something else."""
    cell = _dict_as_text(cell)
    if not isinstance(cell, str):
        return None
    text = cell.strip()
    if not text:
        return {}
    if text.startswith('"'):
        return _tags_of_hstore(text)
    return _tags_of_json(text) if text.startswith("{") else None


def _tags_of_hstore(text: str) -> Tags | None:
    tags: Tags = {}
    place = 0
    while place < len(text):
        match = _PAIR.match(text, place)
        if match is None:
            return None
        key, value, _ = match.groups()
        key = _ESCAPED.sub(r"\1", key)
        if key in tags:  # one of the two would be lost
            return None
        tags[key] = None if value is None else _ESCAPED.sub(r"\1", value)
        place = match.end()
    return tags


def _tags_of_json(text: str) -> Tags | None:
    try:
        read = json.loads(
            text,
            parse_int=_Number,
            parse_float=_Number,
            parse_constant=_refuse,
            object_pairs_hook=_object,
        )
        tags: Tags = {}
        if not isinstance(read, dict) or _is_shape(read) or not _flatten(read, "", tags):
            return None
        "".join(value for value in tags.values() if value).encode()
        "".join(tags).encode()
    except (ValueError, RecursionError):  # no JSON, half a character, or nested without end
        return None
    return tags


def _refuse(word: str) -> object:
    raise ValueError(f"{word} is no JSON")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys differ; of two with one name one would be lost."""
    made = dict(pairs)
    if len(made) < len(pairs):
        raise ValueError("a key stands twice")
    return made


def _is_shape(value: dict[str, Any]) -> bool:
    """Whether it is a GeoJSON geometry."""
    kind = value.get("type")
    return (
        isinstance(kind, str) and kind in _SHAPES and bool({"coordinates", "geometries"} & {*value})
    )


def _flatten(value: dict[str, Any], before: str, tags: Tags) -> bool:
    """Put an object's values into `tags`; false where two of them would have one name."""
    for key, part in value.items():
        name = before + key
        if isinstance(part, dict) and part and not _is_shape(part):
            if not _flatten(part, f"{name}.", tags):
                return False
        elif name in tags:
            return False
        else:
            tags[name] = None if part is None else _value_as_text(part)
    return True


def _value_as_text(value: Any) -> str:  # noqa: ANN401
    return str(value) if isinstance(value, str) else _as_json(value)


def _as_json(value: Any) -> str:  # noqa: ANN401
    """JSON text with the numbers as they were written."""
    if isinstance(value, _Number):
        return str(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_as_json, value))}]"
    if isinstance(value, dict):
        pairs = (f"{json.dumps(k, ensure_ascii=False)}: {_as_json(v)}" for k, v in value.items())
        return f"{{{', '.join(pairs)}}}"
    return json.dumps(value, ensure_ascii=False)
