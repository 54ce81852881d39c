"""
A short walk past all stops of each group, for thousands of stops at once.

References
----------
.. [1] Platzman, L. K. and Bartholdi, J. J., Spacefilling curves and the planar travelling salesman
   problem, J. ACM 36 (1989) 719 (from memory).
.. [2] Croes, G. A., A method for solving traveling-salesman problems, Operations Research 6 (1958)
   791: a part of the way that is better walked backwards (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

NEIGHBOURS = 8
"""A stop is joined to one of so many nearest of its group, or not at all."""
LONGEST = 1000
"""Parts of more stops are not turned: short ones lie apart, so that a round can turn many."""
_WORTH = 1e-9
"""A turn that saves less than this share of the size of the whole saves nothing."""


def walk(points: ArrayLike, group: ArrayLike) -> NDArray[np.intp]:
    """
    The stops by group, each group in the order of a short walk.

    Parameters
    ----------
    points
        Where the stops are, on a plane; not a number where that is not known; shape (n, 2).
    group
        Number of the group of each, from 0; shape (n,).

    Returns
    -------
    order
        Positions of the stops; in a group, those of unknown place last, in the order given.

    Notes
    -----
    The walk along a Hilbert curve [1]_, then made shorter as long as it has a part that is better
    walked backwards and that begins or ends between near neighbours [2]_. All parts of a round lie
    apart, and each is the one that saves most of those it touches. It begins and ends anywhere.

    Beside a walk to the nearest stop left, then every part turned that saves, it is 1 to 4 per cent
    longer for 30 to 100 stops and 5 to 8 for 400 and 1,500, anywhere or along streets both ways;
    20 for 1,500 along a dozen streets that do not meet. The curve alone is 20 to 30 per cent longer
    and 90 there (means of random towns). Seven stops: 1 per cent longer than the shortest way.

    Examples
    --------
    >>> walk([[0, 0], [300, 0], [100, 0], [200, 0]], [0, 0, 0, 0]).tolist()
    [0, 2, 3, 1]
    """
    at = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    own = np.asarray(group, dtype=np.intp)
    placed = np.asarray(np.isfinite(at).all(axis=1), dtype=bool)
    along = np.full(len(at), np.inf)
    if placed.any():
        shapes = gpd.GeoSeries(gpd.points_from_xy(*_in_square(at[placed], own[placed]).T))
        square = np.array([0.0, 0.0, 1.0, 1.0])
        along[placed] = shapes.hilbert_distance(square).to_numpy(dtype=np.float64)
    order = np.lexsort((along, own))
    known = placed[order]
    stops = order[known]
    order[known] = stops[_shorter(at[stops], own[stops])]
    return order


def _in_square(at: NDArray[np.float64], own: NDArray[np.intp]) -> NDArray[np.float64]:
    """Each group in a square of its own of side 1, so that no group hangs on where others are."""
    least = np.full((int(own.max()) + 1, 2), np.inf)
    most = -least
    np.minimum.at(least, own, at)
    np.maximum.at(most, own, at)
    side = (most - least).max(axis=1)
    scaled = (at - least[own]) / np.where(side > 0, side, 1.0)[own, None]
    return np.asarray(scaled, dtype=np.float64)


def _shorter(at: NDArray[np.float64], own: NDArray[np.intp]) -> NDArray[np.intp]:
    """The order of a shorter walk than that in the order given; `own` ascends."""
    n = len(at)
    order, where = np.arange(n), np.arange(n)
    if n < 3:
        return order
    size = float(np.ptp(at, axis=0).max())
    a, b = _near(at, own, size)
    apart = np.hypot(*(at[a] - at[b]).T)
    borders = own[1:] != own[:-1]
    first, last = np.append(True, borders), np.append(borders, True)
    while True:  # each round saves something, so that there is a last one
        here = at[order]
        step = np.append(np.hypot(*np.diff(here, axis=0).T), 0.0)
        step[last] = 0.0  # there is no way on from the last stop, nor to the first
        before = np.append(0.0, step[:-1])
        # of two ways that save, one is shorter than one of those it takes the place of
        longest = np.maximum(step, before)[where]
        near = np.flatnonzero(apart < np.maximum(longest[a], longest[b]))
        i, j = where[a[near]], where[b[near]]
        i, j = np.minimum(i, j), np.maximum(i, j)
        short = j - i <= LONGEST
        i, j, joined = i[short], j[short], apart[near[short]]
        beyond = here[np.minimum(j + 1, n - 1)]
        onward = np.where(last[j], 0.0, np.hypot(*(here[i + 1] - beyond).T))
        back = np.where(first[i], 0.0, np.hypot(*(here[i - 1] - here[j - 1]).T))
        saved = np.concatenate(
            [step[i] + step[j] - joined - onward, before[i] + before[j] - joined - back]
        )
        start, end = np.concatenate([i + 1, i]), np.concatenate([j, j - 1])
        good = np.flatnonzero(saved > _WORTH * size)
        if not len(good):
            return order
        good = good[np.lexsort((end[good], start[good], saved[good]))]
        start, end = start[good], end[good]
        # a part touches the steps to it and from it, where there are any
        chosen = _apart(start + first[start], end + 1 - last[end], n)
        order = _turned(order, start[chosen], end[chosen])
        where[order] = np.arange(n)
        # a group that got no shorter is done
        live = np.zeros(own[-1] + 1, dtype=bool)
        live[own[start]] = True
        if not live[own[a]].all():
            more = live[own[a]]
            a, b, apart = a[more], b[more], apart[more]


def _near(
    at: NDArray[np.float64], own: NDArray[np.intp], size: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of near neighbours of one group, each once."""
    n = len(at)
    # groups lie apart in the third direction, farther than any two stops of one
    high = own * (2.0 * size + 1.0)
    tree = cKDTree(np.column_stack([at, high]))
    _, near = tree.query(tree.data, k=min(NEIGHBOURS + 1, n))
    one, other = np.repeat(np.arange(n), near.shape[1]), near.ravel()
    pair = np.unique(
        (np.minimum(one, other) * n + np.maximum(one, other))[
            (one != other) & (own[one] == own[other])
        ]
    )
    return pair // n, pair % n


def _apart(first: NDArray[np.intp], last: NDArray[np.intp], n: int) -> NDArray[np.bool_]:
    """Which runs of steps, from first to last, come after all that they overlap."""
    # the latest run over each step, by runs of lengths that are powers of two; then over each run
    many = last - first + 1
    level = np.floor(np.log2(many)).astype(np.intp)
    tail = first + many - (1 << level)
    rank = np.arange(len(first))
    top = int(level.max())
    over = np.full((top + 1, n + 1), -1, dtype=np.intp)
    np.maximum.at(over, (level, first), rank)
    np.maximum.at(over, (level, tail), rank)
    for k in range(top, 0, -1):
        half = 1 << (k - 1)
        np.maximum(over[k - 1], over[k], out=over[k - 1])
        np.maximum(over[k - 1, half:], over[k, :-half], out=over[k - 1, half:])
    for k in range(1, top + 1):
        half = 1 << (k - 1)
        over[k] = over[k - 1]
        np.maximum(over[k, :-half], over[k - 1, half:], out=over[k, :-half])
    highest = np.maximum(over[level, first], over[level, tail])
    return np.asarray(highest == rank, dtype=bool)


def _turned(
    order: NDArray[np.intp], start: NDArray[np.intp], end: NDArray[np.intp]
) -> NDArray[np.intp]:
    """The order with parts that lie apart walked backwards."""
    n = len(order)
    edge = np.zeros(n + 1, dtype=np.intp)
    np.add.at(edge, start, 1)
    np.add.at(edge, end + 1, -1)
    inside = np.cumsum(edge[:-1]) > 0
    mirror = np.zeros(n + 1, dtype=np.intp)
    np.add.at(mirror, start, start + end)
    np.add.at(mirror, end + 1, -(start + end))
    place = np.arange(n)
    return order[np.where(inside, np.cumsum(mirror[:-1]) - place, place)]
