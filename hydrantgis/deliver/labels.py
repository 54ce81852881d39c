"""
Where numbers and names stand on a drawn map, so that none covers another.

All in points of the page. Places are tried in a fixed order, so that the same map has the same
labels.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Places = NDArray[np.int64]
    Shapes = NDArray[np.object_]

_DIRECTIONS = 16
_RINGS = (0.0, 3.0, 7.0, 12.0, 18.0, 26.0, 36.0, 48.0, 64.0, 84.0, 108.0, 140.0)
_BETWEEN, _ROUND, _CELL = 26.0, 12.0, (250.0, 150.0)
_LEAST_AWAY, _MOST_CROWDS, _MOST_SPREAD = 2, 3, 0.5
_FROM_EDGE, _FROM_MARK, _FROM_LINE = 4.0, 1.0, 2.0
_STRAIGHT = (2.5, 6.0)  # how far a piece may bend: first for all, then for streets without a name
_TRIES_A_STREET = 8
_ALONG = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9, 0.0, 1.0)


def _overlaps(rectangles: Floats, others: Floats) -> NDArray[np.int64]:
    """How many of the others each rectangle touches."""
    if not len(others):
        return np.zeros(len(rectangles), dtype=np.int64)
    a, b = rectangles[:, None, :], others[None, :, :]
    apart = (
        (a[..., 0] >= b[..., 2]) | (a[..., 2] <= b[..., 0])
        | (a[..., 1] >= b[..., 3]) | (a[..., 3] <= b[..., 1])
    )  # fmt: skip
    return np.asarray((~apart).sum(axis=1), dtype=np.int64)


def rectangles(x: ArrayLike, y: ArrayLike, width: ArrayLike, height: ArrayLike) -> Floats:
    """
    Rectangles round centers, a row each: least x, least y, greatest x, greatest y.

    Examples
    --------
    >>> rectangles([10.0], [20.0], 4.0, 2.0).tolist()
    [[8.0, 19.0, 12.0, 21.0]]
    """
    at_x, at_y = np.atleast_1d(np.asarray(x, float)), np.atleast_1d(np.asarray(y, float))
    half_w, half_h = np.asarray(width, float) / 2, np.asarray(height, float) / 2
    return np.column_stack([at_x - half_w, at_y - half_h, at_x + half_w, at_y + half_h])


def place_numbers(
    x: ArrayLike,
    y: ArrayLike,
    width: ArrayLike,
    *,
    height: float,
    mark: float,
    page: tuple[float, float, float, float],
    blocked: ArrayLike = (),
) -> tuple[Floats, Floats]:
    """
    Centers of the labels of marks: the nearest free place to each, in the order of the rows.

    Parameters
    ----------
    x, y
        Centers of the marks. [points]
    width, height
        Of the labels. [points]
    mark
        Width of a mark; no label lies on one. [points]
    page
        Least x, least y, greatest x, greatest y; no label lies outside. [points]
    blocked
        Rectangles where none may lie, a row each. [points]

    Returns
    -------
    x, y
        Shape (n,); where there is no free place, that with the least beneath it. [points]

    Examples
    --------
    Two marks at one place have two labels beside each other:

    >>> x, y = place_numbers([50, 50], [50, 50], [10, 10], height=6, mark=4, page=(0, 0, 99, 99))
    >>> bool(abs(x[0] - x[1]) >= 10 or abs(y[0] - y[1]) >= 6)
    True
    """
    at_x, at_y = np.asarray(x, float), np.asarray(y, float)
    wide = np.broadcast_to(np.asarray(width, float), at_x.shape)
    turn = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    # the directions in which an eye expects a number come first: right, then up, left and down
    turn = turn[np.argsort(np.abs(np.cos(turn) - 1) + 0.1 * (np.sin(turn) < 0), kind="stable")]
    fixed = np.asarray(blocked, float).reshape(-1, 4)
    taken = np.vstack([rectangles(at_x, at_y, mark, mark), fixed, np.zeros((len(at_x), 4))])
    filled = len(at_x) + len(fixed)
    label_x, label_y = at_x.copy(), at_y.copy()
    for place in range(len(at_x)):
        best, least = (at_x[place], at_y[place]), None
        for ring in _RINGS:
            reach_x = mark / 2 + wide[place] / 2 + _FROM_MARK + ring
            reach_y = mark / 2 + height / 2 + _FROM_MARK + ring
            tried = rectangles(
                at_x[place] + reach_x * np.cos(turn), at_y[place] + reach_y * np.sin(turn),
                wide[place], height,
            )  # fmt: skip
            inside = (
                (tried[:, 0] >= page[0]) & (tried[:, 1] >= page[1])
                & (tried[:, 2] <= page[2]) & (tried[:, 3] <= page[3])
            )  # fmt: skip
            beneath = _overlaps(tried, taken[:filled]) + np.where(inside, 0, len(taken) + 1)
            first = int(np.argmin(beneath))
            if least is None or beneath[first] < least:
                best = ((tried[first, 0] + tried[first, 2]) / 2,
                        (tried[first, 1] + tried[first, 3]) / 2)  # fmt: skip
                least = int(beneath[first])
            if least == 0:
                break
        label_x[place], label_y[place] = best
        taken[filled] = rectangles(*best, wide[place], height)[0]
        filled += 1
    return label_x, label_y


@dataclass(frozen=True, slots=True)
class Crowd:
    """
    Marks whose numbers find no room beside them.

    Attributes
    ----------
    rows
        Of the marks.
    box
        Round them: least x, least y, greatest x, greatest y. [points]
    """

    rows: Places
    box: tuple[float, float, float, float]


def crowds(at: Floats, away: NDArray[np.bool_], *, page: tuple[float, float]) -> list[Crowd]:
    """
    Where a page needs details: a few crowds, the largest first, or a grid where there are many.

    Parameters
    ----------
    at
        Marks, a row each. [points]
    away
        Whether the number of each stands away from it.
    page
        Width and height. [points]

    Returns
    -------
    crowds
        Each at most half the page wide and tall; a lone number that is away is none.

    Examples
    --------
    >>> at = np.array([[20.0, 20.0], [25.0, 25.0], [300.0, 300.0]])
    >>> crowds(at, np.array([True, True, False]), page=(400, 400))
    [Crowd(rows=array([0, 1]), box=(8.0, 8.0, 37.0, 37.0))]
    """
    rows = np.flatnonzero(away)
    if len(rows) < _LEAST_AWAY:
        return []
    near = cKDTree(at).query_ball_point(at[rows], _BETWEEN)
    members = np.unique(np.concatenate([np.asarray(one, dtype=np.int64) for one in near]))
    pairs = cKDTree(at[members]).query_pairs(_BETWEEN, output_type="ndarray")
    links = coo_array(
        (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(members), len(members))
    )
    count, label = connected_components(links, directed=False)
    groups = [members[label == k] for k in range(count)]
    groups = [group for group in groups if away[group].sum() >= _LEAST_AWAY]
    spread = [np.ptp(at[group], axis=0) / np.array(page) for group in groups]
    if len(groups) > _MOST_CROWDS or any(one.max() > _MOST_SPREAD for one in spread):
        return _cells(at, rows, page)
    groups.sort(key=lambda group: -int(away[group].sum()))
    low = [at[group].min(axis=0) - _ROUND for group in groups]
    high = [at[group].max(axis=0) + _ROUND for group in groups]
    boxes = np.hstack([np.reshape(low, (-1, 2)), np.reshape(high, (-1, 2))]).tolist()
    return [Crowd(rows, tuple(box)) for rows, box in zip(groups, boxes, strict=True)]


def _cells(at: Floats, rows: Places, page: tuple[float, float]) -> list[Crowd]:
    """The cells of a grid over the page in which marks stand, row by row from the top."""
    size = np.array(page)
    count = np.ceil(size / np.array(_CELL)).astype(np.int64)
    cell = np.clip((at[rows] // (size / count)).astype(np.int64), 0, count - 1)
    found = []
    for down in range(count[1] - 1, -1, -1):
        for along in range(count[0]):
            here = rows[(cell == (along, down)).all(axis=1)]
            if len(here):
                low, high = size / count * (along, down), size / count * (along + 1, down + 1)
                box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
                found.append(Crowd(here, box))
    return found


@dataclass(frozen=True, slots=True)
class Name:
    """A name along a line: its text, the center [points] and how it is turned [degrees]."""

    text: str
    x: float
    y: float
    degrees: float


def _straight_pieces(
    shapes: Shapes, titles: NDArray[np.object_], bend: float
) -> tuple[Floats, list[str]]:
    """Ends of the longest straight pieces of each street, and their titles, the longest first."""
    codes, names = pd.factorize(titles)
    ends, whose = [np.empty((0, 4))], [np.empty(0, dtype=np.int64)]
    for code in range(len(names)):
        whole = shapely.line_merge(shapely.union_all(shapes[codes == code]))
        plain = shapely.get_parts(shapely.simplify(whole, bend))
        corners, part = shapely.get_coordinates(plain, return_index=True)
        pieces = np.hstack([corners[:-1], corners[1:]])[part[1:] == part[:-1]]
        longest = np.argsort(-_lengths(pieces), kind="stable")[:_TRIES_A_STREET]
        ends.append(pieces[longest])
        whose.append(np.full(len(longest), code, dtype=np.int64))
    pieces = np.vstack(ends)
    order = np.argsort(-_lengths(pieces), kind="stable")
    return pieces[order], [str(names[code]) for code in np.concatenate(whose)[order]]


def _lengths(pieces: Floats) -> Floats:
    return np.asarray(np.hypot(pieces[:, 2] - pieces[:, 0], pieces[:, 3] - pieces[:, 1]), float)


def _turned(x: float, y: float, cos: float, sin: float, width: float, height: float) -> Floats:
    """Corners of a rectangle round a center."""
    u = np.array([-1, 1, 1, -1]) * width / 2
    v = np.array([-1, -1, 1, 1]) * height / 2
    return np.column_stack([x + u * cos - v * sin, y + u * sin + v * cos])


def names_along(
    shapes: Shapes,
    titles: NDArray[np.object_],
    widths: dict[str, float],
    *,
    height: float,
    page: tuple[float, float, float, float],
    blocked: ArrayLike = (),
) -> list[Name]:
    """
    One name a street, along the longest straight piece of it that has room, else beside it.

    Parameters
    ----------
    shapes
        Lines in points of the page.
    titles
        Of each line; lines of one title are one street, and one without a title has no name.
    widths
        How wide each title is. [points]
    height
        Of the letters. [points]
    page
        Least x, least y, greatest x, greatest y. [points]
    blocked
        Rectangles where no name may lie, a row each. [points]

    Returns
    -------
    names
        Only those that fit and cover nothing.
    """
    x0, y0, x1, y1 = page
    window = shapely.box(x0 + _FROM_EDGE, y0 + _FROM_EDGE, x1 - _FROM_EDGE, y1 - _FROM_EDGE)
    here = shapely.intersection(shapes, window)
    there = ~shapely.is_empty(here) & ~shapely.is_missing(here) & pd.notna(titles)
    taken = list(shapely.box(*np.asarray(blocked, float).reshape(-1, 4).T))
    names: dict[str, Name] = {}
    every = [_straight_pieces(here[there], titles[there], bend) for bend in _STRAIGHT]
    ends = np.vstack([pieces for pieces, _ in every]).tolist()
    whose = [title for _, titles_of in every for title in titles_of]
    for (ax, ay, bx, by), title in zip(ends, whose, strict=True):
        long, wide = float(np.hypot(bx - ax, by - ay)), widths[title]
        spare = long - wide - 2 * _FROM_EDGE
        if title in names or spare < 0:
            continue
        cos, sin = (bx - ax) / long, (by - ay) / long
        start_x, start_y = ax, ay
        if cos < -1e-9 or (abs(cos) <= 1e-9 and sin < 0):
            # read from the left, or from below
            cos, sin, start_x, start_y = -cos, -sin, bx, by
        beside = height / 2 + _FROM_LINE
        for off, share in product((0.0, beside, -beside), _ALONG):
            far = _FROM_EDGE + wide / 2 + share * spare
            x, y = start_x + far * cos - off * sin, start_y + far * sin + off * cos
            room = shapely.Polygon(_turned(x, y, cos, sin, wide + 2, height))
            if not shapely.intersects(np.array(taken, dtype=object), room).any():
                taken.append(room)
                names[title] = Name(title, x, y, float(np.degrees(np.arctan2(sin, cos))))
                break
    return list(names.values())
