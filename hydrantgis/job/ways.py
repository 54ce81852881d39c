"""
How far it is from job to job and to the depot, along streets where the register has any.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from scipy.spatial import cKDTree

from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.season.candidates import FT_A_MILE
from hydrantgis.season.streets import StreetNetwork, matrix_ft

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from numpy.typing import NDArray

    from hydrantgis.job.checking import Checked
    from hydrantgis.standards.season import SeasonWords

FARTHEST_MI = 100.0
"""A depot farther from every job than this is a mistake: common practice, no source. [mi]"""


@dataclass(frozen=True, slots=True)
class Ways:
    """
    Places of jobs and of the depot on one plane.

    Attributes
    ----------
    at_ft, depot_ft
        Shapes (n, 2) and (2,). [ft]
    factor
        What a straight line is multiplied by where no streets are known.
    out_ft, out_ids
        Places and ids of the hydrants that are out of service already, shapes (k, 2) and (k,).
    ids
        Of the jobs, shape (n,).
    network
        The streets; None where the register has none.
    """

    at_ft: NDArray[np.float64]
    depot_ft: NDArray[np.float64]
    factor: float
    out_ft: NDArray[np.float64]
    out_ids: NDArray[np.object_]
    ids: NDArray[np.object_]
    network: StreetNetwork | None = None

    def to_depot_hours(self, words: SeasonWords) -> NDArray[np.float64]:
        """One way to the depot, shape (n,). [h]"""
        there = np.hypot(*(self.at_ft - self.depot_ft).T) * self.factor
        return np.asarray(there / FT_A_MILE / words.speed_mph, dtype=np.float64)

    def hours(self, way_ft: NDArray[np.float64], words: SeasonWords) -> NDArray[np.float64]:
        """Ways as hours of driving. [h]"""
        return way_ft / FT_A_MILE / words.speed_mph

    def matrix(self, rows: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """
        Ways among some jobs and the depot, which is last, and whether they follow streets. [ft]

        Parameters
        ----------
        rows
            Positions of k jobs.

        Returns
        -------
        way_ft, by_streets
            Shapes (k + 1, k + 1).
        """
        at = np.vstack([self.at_ft[rows], self.depot_ft])
        line = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1)) * self.factor
        if self.network is None:
            return line, np.zeros(line.shape, dtype=bool)
        along = matrix_ft(at, self.network)
        known = np.isfinite(along)
        return np.where(known, along, line), known

    def neighbours(self, rows: NDArray[np.intp], apart_ft: float) -> NDArray[np.intp]:
        """Pairs of some jobs that lie nearer than that, by position among them, shape (k, 2)."""
        if len(rows) < 2 or apart_ft <= 0:
            return np.zeros((0, 2), dtype=np.intp)
        tree = cKDTree(self.at_ft[rows])
        # the rule is for those nearer than that, and the tree finds those just as far too
        pairs = tree.query_pairs(np.nextafter(apart_ft, 0.0), output_type="ndarray")
        return pairs.astype(np.intp)

    def out_beside(self, hydrant_ids: pd.Series, apart_ft: float) -> tuple[list[str], list[str]]:
        """Jobs that have a hydrant beside them which is out of service already, and which one."""
        rows = np.flatnonzero(np.isin(self.ids.astype("str"), hydrant_ids.to_numpy(dtype="str")))
        if not len(rows) or not len(self.out_ft) or apart_ft <= 0:
            return [], []
        apart, which = map(np.asarray, cKDTree(self.out_ft).query(self.at_ft[rows], k=2))
        # a job may be at a hydrant that is out of service itself
        k = np.minimum(which, len(self.out_ids) - 1)
        own = self.out_ids[k] == self.ids[rows][:, None]
        apart = np.where(own, np.inf, apart)
        nearest = apart.argmin(axis=1)
        near = apart.min(axis=1) < apart_ft
        told = self.out_ids[k[np.arange(len(rows)), nearest]]
        return self.ids[rows][near].tolist(), told[near].tolist()


def ways_of(result: Checked, jobs: gpd.GeoDataFrame, words: SeasonWords) -> Ways:
    """
    The ways of a season.

    Parameters
    ----------
    result
        The check.
    jobs
        What can be chosen from.
    words
        Where the depot is.

    Raises
    ------
    WordsError
        The depot's CRS is not known, or it lies far from every job.
    """
    crs = result.hydrants.crs
    every = xy(result.hydrants.geometry)
    if crs is None:
        empty = np.zeros((0, 2))
        return Ways(
            np.full((len(jobs), 2), np.nan), np.zeros(2), words.street_factor, empty,
            np.zeros(0, dtype=object), jobs["hydrant_id"].to_numpy(dtype=object),
        )  # fmt: skip
    to_plane = plane_ft(every, crs)

    def flat(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(to_plane.transform(points[:, 0], points[:, 1]))

    try:
        named = pyproj.CRS.from_user_input(words.depot.crs)
    except pyproj.exceptions.CRSError as error:
        raise WordsError(
            "the depot's CRS is not known", where="`depot.crs`", found=words.depot.crs,
            accepted="a code such as EPSG:4326",
        ) from error  # fmt: skip
    x, y = pyproj.Transformer.from_crs(named, crs, always_xy=True).transform(
        words.depot.x, words.depot.y
    )
    at = flat(xy(jobs.geometry))
    known = np.isfinite(at).all(axis=1)
    somewhere = bool(np.isfinite([x, y]).all())
    depot = flat(np.array([[x, y]]))[0] if somewhere else np.full(2, np.nan)
    apart = np.hypot(*(at[known] - depot).T).min() / FT_A_MILE if known.any() else 0.0
    if not somewhere or apart > FARTHEST_MI:
        raise WordsError(
            "the depot lies far from every job", where="`depot` of the season file",
            found=f"{words.depot.x:g}, {words.depot.y:g} in {words.depot.crs}, "
            + (f"{apart:,.0f} miles from the nearest" if somewhere else "which is nowhere"),
            accepted=f"{FARTHEST_MI:g} miles", do="correct x, y or crs",
        )  # fmt: skip
    is_out = (result.hydrants["status"] == "out_of_service").to_numpy(dtype=bool)
    out = is_out & np.isfinite(every).all(axis=1)
    streets = result.streets
    return Ways(
        at, depot, words.street_factor, flat(every[out]),
        result.hydrants["hydrant_id"].to_numpy(dtype=object)[out],
        jobs["hydrant_id"].to_numpy(dtype=object),
        StreetNetwork.of(streets.geometry, to_plane) if len(streets) else None,
    )  # fmt: skip
