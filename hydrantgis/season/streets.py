"""
Distances along streets, among thousands of points or to the next of a hundred thousand.

References
----------
.. [1] Dijkstra, E. W., A note on two problems in connexion with graphs, Numerische Mathematik 1
   (1959) 269 (from memory).
.. [2] Mehlhorn, K., A faster approximation algorithm for the Steiner problem in graphs, Information
   Processing Letters 27 (1988) 125: which source is nearest to each node tells the shortest ways
   between sources, edge by edge (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj
    from numpy.typing import ArrayLike, NDArray

JOIN_FT = 0.5
"""Vertices within this are one place: wider than rounding and a change of CRS leave between them,
and narrower than any two places of a street that are apart: common practice, no source. [ft]"""
REACH_FT = 500.0
"""A point farther from every street than this reaches none: common practice, no source. [ft]"""
_CHUNK_BYTES = 100_000_000
"""Rows of distances that are held at once, while the matrix is made."""


@dataclass(frozen=True, slots=True)
class StreetNetwork:
    """
    Streets on a plane, as straight pieces from vertex to vertex.

    Lines join where they share a vertex, and nowhere else: two that cross without one pass over
    each other, as at a bridge.

    Attributes
    ----------
    vertices
        Places of the vertices, shape (k, 2). [ft]
    pieces
        Both vertices of each straight piece, shape (m, 2).
    joints
        Pairs of vertices that are apart by no more than `JOIN_FT`, shape (j, 2). One goes over by
        the distance between them, so that no vertex has to be moved.
    tree
        The pieces, to look for the nearest.

    Examples
    --------
    >>> import geopandas as gpd
    >>> line = gpd.GeoSeries([shapely.LineString([(0, 0), (300, 0), (300, 400)])])
    >>> network = StreetNetwork.of(line)
    >>> matrix_ft([[100, 20], [320, 400]], network).tolist()
    [[0.0, 640.0], [640.0, 0.0]]
    """

    vertices: NDArray[np.float64]
    pieces: NDArray[np.intp]
    joints: NDArray[np.intp]
    tree: shapely.STRtree

    @classmethod
    def of(cls, lines: gpd.GeoSeries, to_plane: pyproj.Transformer | None = None) -> StreetNetwork:
        """
        The network of centerlines.

        Parameters
        ----------
        lines
            Lines of one part or several; missing ones are no streets.
        to_plane
            From their CRS to a plane in feet, as `hydrantgis.ground.plane.plane_ft` gives it; None
            where they lie on one already.
        """
        parts = shapely.get_parts(np.asarray(lines.array, dtype=object))
        flat, line = shapely.get_coordinates(parts, return_index=True)
        if to_plane is not None:
            flat = np.column_stack(to_plane.transform(flat[:, 0], flat[:, 1]))
        known = np.asarray(np.isfinite(flat).all(axis=1), dtype=bool)
        vertices, vertex = np.unique(flat, axis=0, return_inverse=True)
        start, end = vertex.reshape(-1)[:-1], vertex.reshape(-1)[1:]
        real = (line[:-1] == line[1:]) & known[:-1] & known[1:] & (start != end)
        pieces = np.column_stack([start[real], end[real]]).astype(np.intp)
        used, renumbered = np.unique(pieces, return_inverse=True)
        vertices, pieces = vertices[used], renumbered.reshape(-1, 2).astype(np.intp)
        joints = np.empty((0, 2), dtype=np.intp)
        if len(vertices):
            joints = cKDTree(vertices).query_pairs(JOIN_FT, output_type="ndarray").astype(np.intp)
        shapes = np.asarray(shapely.linestrings(vertices[pieces]), dtype=object)
        return cls(vertices, pieces, joints, shapely.STRtree(shapes))


@dataclass(frozen=True, slots=True)
class _Reached:
    """
    A network with the places at which points come to a street as nodes of their own.

    `node` is the node of each point, -1 where it reaches none, and `way` how far it is there. [ft]
    `ends` and `length` are the edges, each once. [ft]
    """

    node: NDArray[np.intp]
    way: NDArray[np.float64]
    nodes: int
    ends: NDArray[np.intp]
    length: NDArray[np.float64]


def next_usable_ft(
    points: ArrayLike, usable: ArrayLike, network: StreetNetwork
) -> NDArray[np.float64]:
    """
    How far along streets the nearest usable other point is, the ways to the street counted. [ft]

    Parameters
    ----------
    points
        On the plane of the network, missing ones are not a number, shape (n, 2). [ft]
    usable
        Which of them count as the next, shape (n,).
    network
        The streets.

    Returns
    -------
    distance
        Missing where a point is more than `REACH_FT` from every street, and where no usable other
        one can be reached; shape (n,). [ft]

    Notes
    -----
    One search from all usable points at once [1]_ tells for each node which is nearest. The way
    from a usable point to its nearest other one leaves, over one edge, the nodes that are nearest
    to it; so the least over such edges is exact [2]_, for any number of points.

    Examples
    --------
    >>> import geopandas as gpd
    >>> line = gpd.GeoSeries([shapely.LineString([(0, 0), (900, 0)])])
    >>> network = StreetNetwork.of(line)
    >>> at = [[0, 10], [600, 10], [900, 0], [450, 5000]]
    >>> next_usable_ft(at, [True, True, False, True], network).tolist()
    [620.0, 620.0, 310.0, nan]
    """
    reached = _reached(np.asarray(points, dtype=np.float64), network)
    result = np.full(len(reached.node), np.nan)
    counts = np.asarray(usable, dtype=bool) & (reached.node >= 0)
    sources = np.flatnonzero(counts)
    if not len(sources):
        return result
    # each usable point is a node beside its street, so that several may come to one place
    own = reached.nodes + np.arange(len(sources))
    ends = np.vstack([reached.ends, np.column_stack([own, reached.node[sources]])])
    length = np.append(reached.length, reached.way[sources])
    graph = _graph(ends, length, reached.nodes + len(sources))
    far, _, nearest = dijkstra(graph, indices=own, min_only=True, return_predecessors=True)
    asking = (reached.node >= 0) & ~counts
    result[asking] = far[reached.node[asking]] + reached.way[asking]
    a, b = ends.T
    border = nearest[a] != nearest[b]  # of an edge both ends are reached or none
    a, b, over = a[border], b[border], far[a[border]] + length[border] + far[b[border]]
    best = np.full(len(sources), np.inf)
    np.minimum.at(best, nearest[a] - reached.nodes, over)
    np.minimum.at(best, nearest[b] - reached.nodes, over)
    result[sources] = best
    return np.where(np.isfinite(result), result, np.nan)


def matrix_ft(points: ArrayLike, network: StreetNetwork) -> NDArray[np.float64]:
    """
    Distances along streets from each point to each other, the ways to the street counted. [ft]

    Parameters
    ----------
    points
        On the plane of the network, missing ones are not a number, shape (n, 2); a few thousand at
        most, for the result holds the square of their number. [ft]
    network
        The streets.

    Returns
    -------
    distances
        0 from a point to itself; missing where a point is more than `REACH_FT` from every street,
        and where streets do not lead from one to the other; shape (n, n). [ft]

    Examples
    --------
    >>> import geopandas as gpd
    >>> lines = gpd.GeoSeries.from_wkt(["LINESTRING (0 0, 300 0)", "LINESTRING (0 90, 300 90)"])
    >>> network = StreetNetwork.of(lines)
    >>> matrix_ft([[10, 0], [250, 0], [10, 90]], network)[0].tolist()
    [0.0, 240.0, nan]
    """
    reached = _reached(np.asarray(points, dtype=np.float64), network)
    n = len(reached.node)
    result = np.full((n, n), np.nan)
    rows = np.flatnonzero(reached.node >= 0)
    if not len(rows):
        return result
    stops, stop = np.unique(reached.node[rows], return_inverse=True)
    ends, length, nodes = _without_bends(reached, stops)
    graph = _graph(ends, length, nodes)
    way = reached.way[rows]
    step = max(1, _CHUNK_BYTES // (8 * max(nodes, n)))
    for first in range(0, len(stops), step):
        far = dijkstra(graph, indices=np.arange(first, min(first + step, len(stops))))
        some = (stop >= first) & (stop < first + step)
        between = far[:, stop][stop[some] - first]
        result[np.ix_(rows[some], rows)] = between + way[some, None] + way
    result[rows, rows] = 0.0
    result[np.isinf(result)] = np.nan
    return result


def _reached(points: NDArray[np.float64], network: StreetNetwork) -> _Reached:
    """Where each point comes to its nearest street, and the network cut there."""
    node, way = np.full(len(points), -1, dtype=np.intp), np.full(len(points), np.nan)
    nodes, pieces = len(network.vertices), network.pieces
    along = network.vertices[pieces[:, 1]] - network.vertices[pieces[:, 0]]
    length = np.hypot(along[:, 0], along[:, 1])
    apart = np.subtract(*network.vertices[network.joints.T])
    rows = np.flatnonzero(np.isfinite(points).all(axis=1))
    which, piece = network.tree.query_nearest(shapely.points(points[rows]), max_distance=REACH_FT)
    # of pieces that are equally near the first, whatever the order of the tree
    order = np.lexsort((piece, which))
    which, first = np.unique(which[order], return_index=True)
    piece, rows = piece[order][first], rows[which]
    off = points[rows] - network.vertices[pieces[piece, 0]]
    share = np.clip((off * along[piece]).sum(axis=1) / length[piece] ** 2, 0.0, 1.0)
    off -= share[:, None] * along[piece]
    way[rows] = np.hypot(off[:, 0], off[:, 1])
    at_end = (share == 0) | (share == 1)
    node[rows[at_end]] = pieces[piece[at_end], share[at_end].astype(np.intp)]
    # one node for each place within a piece, in order along it
    places, place = np.unique(np.column_stack([piece, share])[~at_end], axis=0, return_inverse=True)
    node[rows[~at_end]] = nodes + place.reshape(-1)
    cut, at = places[:, 0].astype(np.intp), places[:, 1] * length[places[:, 0].astype(np.intp)]
    new = nodes + np.arange(len(cut))
    begins = np.append(True, cut[1:] != cut[:-1])[: len(cut)]
    ends = np.append(begins[1:], True)[: len(cut)]
    back = np.where(begins, pieces[cut, 0], new - 1)
    gap = np.where(begins, at, at - np.append(0.0, at[:-1])[: len(cut)])
    whole = np.ones(len(pieces), dtype=bool)
    whole[cut] = False
    return _Reached(
        node, way, nodes + len(cut),
        np.vstack([
            pieces[whole], network.joints, np.column_stack([back, new]),
            np.column_stack([new[ends], pieces[cut[ends], 1]]),
        ]),
        np.concatenate([
            length[whole], np.hypot(apart[:, 0], apart[:, 1]), gap, (length[cut] - at)[ends],
        ]),
    )  # fmt: skip


def _without_bends(
    reached: _Reached, stops: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.float64], int]:
    """
    Edges between stops, crossings and dead ends alone, and how many nodes that are.

    The stops are the first of them. A street has many bends for each crossing, and a search from
    each of thousands of points takes as many times longer with them.
    """
    tips, edge = reached.ends.reshape(-1), np.repeat(np.arange(len(reached.ends)), 2)
    kept = np.bincount(tips, minlength=reached.nodes) != 2
    kept[stops] = True
    at_bend = ~kept[tips]
    # at a bend exactly two edges meet: they are of one chain
    pairs = edge[at_bend][np.argsort(tips[at_bend], kind="stable")].reshape(-1, 2)
    same = _graph(pairs, np.ones(len(pairs)), len(reached.ends))
    chains, chain = connected_components(same, directed=False)
    length = np.bincount(chain, weights=reached.length, minlength=chains)
    # a chain ends at two nodes that are kept, or is a ring of bends that leads nowhere
    order = np.argsort(chain[edge[~at_bend]], kind="stable")
    ends = tips[~at_bend][order].reshape(-1, 2)
    length = length[chain[edge[~at_bend]][order][::2]]
    number = np.zeros(reached.nodes, dtype=np.intp)
    others = kept.copy()
    others[stops] = False
    number[stops] = np.arange(len(stops))
    number[others] = len(stops) + np.arange(int(others.sum()))
    return number[ends], length, len(stops) + int(others.sum())


def _graph(ends: NDArray[np.intp], length: NDArray[np.float64], nodes: int) -> csr_array:
    """Edges both ways; of several between two nodes the shortest, none from a node to itself."""
    a, b = np.concatenate([ends, ends[:, ::-1]]).T
    order = np.lexsort((np.tile(length, 2), b, a))
    order = order[a[order] != b[order]]
    a, b, w = a[order], b[order], np.tile(length, 2)[order]
    first = np.append(True, (a[1:] != a[:-1]) | (b[1:] != b[:-1]))[: len(a)]
    a, b, w = a[first], b[first], w[first]
    starts = np.searchsorted(a, np.arange(nodes + 1))
    return csr_array((w, b.astype(np.int32), starts.astype(np.int32)), shape=(nodes, nodes))
