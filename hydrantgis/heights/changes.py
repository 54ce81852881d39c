"""
By how much the grade changes: since a height was measured, or in time to come.

Terrain or ground shots of two days tell it, and works that were built or are planned.

References
----------
.. [1] JCGM 106:2012, 6.2: a difference is told from nothing where it exceeds its expanded
   uncertainty; 1.96 standard uncertainties cover 95 % (from memory).
.. [2] JCGM 100:2008 (GUM), F.2.4.5: an effect that is not corrected for enlarges the uncertainty
   (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.text import datum_key, fill
from hydrantgis.heights.epochs import ONE_SURVEY_DAYS, TOLD_APART, last_on
from hydrantgis.heights.works import change_at
from hydrantgis.standards.methods import WORK_CHANGE_SD_SHARE

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    from numpy.typing import NDArray

    from hydrantgis.heights.gradefit import GradeFit


@dataclass(frozen=True, slots=True)
class SurfaceGrade:
    """
    What a surface tells of the grade at n hydrants.

    Attributes
    ----------
    name
        Of the surface.
    on
        The day when the ground was so; NaT where that is not known. [datetime64[D]]
    elev_ft, sd_ft
        Missing where the surface does not reach; shape (n,). [ft]
    vertical_datum
        Of the elevations.
    """

    name: str
    on: np.datetime64
    elev_ft: NDArray[np.float64]
    sd_ft: NDArray[np.float64]
    vertical_datum: str


@dataclass(frozen=True, slots=True)
class Change:
    """
    By how much the grade changes at n hydrants.

    Attributes
    ----------
    change_in, sd_in
        Up; 0 where it does not change; shape (n,). [in]
    by
        What changes it, empty where nothing does; shape (n,).
    """

    change_in: NDArray[np.float64]
    sd_in: NDArray[np.float64]
    by: NDArray[np.object_]

    @classmethod
    def none(cls, n: int) -> Change:
        """No change at n hydrants."""
        return cls(np.zeros(n), np.zeros(n), np.full(n, "", dtype=object))

    def where(self, rows: NDArray[np.bool_]) -> Change:
        """The same at some hydrants, none at the others; shape (n,)."""
        none = Change.none(len(rows))
        return Change(
            np.where(rows, self.change_in, none.change_in),
            np.where(rows, self.sd_in, none.sd_in),
            np.where(rows, self.by, none.by),
        )

    def or_else(self, other: Change) -> Change:
        """The change told here, and the other where none is."""
        ours = self.by != ""
        return Change(
            np.where(ours, self.change_in, other.change_in),
            np.where(ours, self.sd_in, other.sd_in),
            np.where(ours, self.by, other.by),
        )


def terrain_change(
    terrains: Sequence[SurfaceGrade],
    since: NDArray[np.datetime64],
    *,
    changed_on: NDArray[np.datetime64] | None = None,
) -> Change:
    """
    Change of grade since each height held, by terrain models of two days.

    Parameters
    ----------
    terrains
        Of several days; one without a day tells no change.
    since
        The day of the grade that each height stands over, NaT where there is none, shape (n,).
        [datetime64[D]]
    changed_on
        The last day on which works are known to have changed the grade, NaT where none are; a
        terrain of before that does not tell what came after it; shape (n,). [datetime64[D]]

    Returns
    -------
    change
        From the last terrain on or before that day, else from the first one, to the newest one
        after it, both of one vertical datum; nothing where it does not exceed its expanded
        uncertainty [1]_.

    Notes
    -----
    When the ground changed between the two nobody knows. All of it is taken to have come after the
    height was measured; that it came before, and the height holds it already, is as likely as the
    share of the time that had passed by then, and counts as an uncertainty [2]_.

    Examples
    --------
    >>> def on(day, elev): return SurfaceGrade(
    ...     day, np.datetime64(day), np.array([elev]), np.array([0.05]), "NAVD88")
    >>> two = [on("2018-04-01", 100.0), on("2025-04-01", 100.5)]
    >>> told = terrain_change(two, np.array(["2018-04-01"], dtype="datetime64[D]"))
    >>> told.change_in.tolist(), told.sd_in.round(2).tolist(), told.by.tolist()
    ([6.0], [0.85], ['terrain 2018-04-01 to 2025-04-01'])
    """
    n = len(since)
    result = Change.none(n)
    begin = np.full(n, np.datetime64("NaT", "D")) if changed_on is None else changed_on
    dated = sorted((t for t in terrains if not np.isnat(t.on)), key=lambda t: (t.on, t.name))
    reached: dict[str, NDArray[np.bool_]] = {}
    between_two = np.zeros(n, dtype=bool)
    for before in dated:  # a terrain or two of each day
        # of what changed before the first terrain nothing is known; what came after is sure
        had = reached.setdefault(datum_key(before.vertical_datum), np.zeros(n, dtype=bool))
        early = ~had & np.isfinite(before.elev_ft) & (since < before.on)
        had |= np.isfinite(before.elev_ft)
        for after in dated:
            if before.on >= after.on or datum_key(before.vertical_datum) != datum_key(
                after.vertical_datum
            ):
                continue
            change = (after.elev_ft - before.elev_ft) * 12.0
            sd = np.hypot(before.sd_ft, after.sd_ft) * 12.0
            between = (before.on <= since) & (since < after.on)
            between_two |= between & np.isfinite(change)
            between |= early & ~between_two
            between &= np.isnat(begin) | (begin <= before.on) | (begin > since)
            # later pairs of an ordered list are nearer before and newer after, and replace others
            rows = between & (np.abs(change) > TOLD_APART * sd)
            plain = between & np.isfinite(change) & ~rows
            held = _held_already(change, before.on, since, after.on)
            result.change_in[rows], result.sd_in[rows] = change[rows], np.hypot(sd, held)[rows]
            result.by[rows] = f"terrain {before.name} to {after.name}"
            result.change_in[plain], result.sd_in[plain], result.by[plain] = 0.0, 0.0, ""
    return result


def _held_already(
    change_in: NDArray[np.float64],
    before: NDArray[np.datetime64] | np.datetime64,
    since: NDArray[np.datetime64],
    after: NDArray[np.datetime64] | np.datetime64,
) -> NDArray[np.float64]:
    """Root mean square error by a change that may have come before the height was measured."""
    day = np.timedelta64(1, "D")
    passed = (since - before) / day / np.maximum((after - before) / day, 1.0)
    return np.asarray(np.abs(change_in) * np.sqrt(np.clip(passed, 0.0, 1.0)), dtype=np.float64)


def shots_change(grade: GradeFit, since: NDArray[np.datetime64]) -> Change:
    """
    Change of grade since each height held, by ground shots of before and after it.

    Parameters
    ----------
    grade
        Surveys of one vertical datum.
    since
        As `terrain_change`.

    Returns
    -------
    change
        From the last survey on or before that day, else from the first one, to the one that stands,
        where that is more than `ONE_SURVEY_DAYS` later; nothing where it does not exceed its
        expanded uncertainty [1]_. As with `terrain_change` it may have come before the height was
        measured.

    Examples
    --------
    >>> from hydrantgis.heights.grade import grade_at
    >>> days = np.array(["2018-04-01", "2025-04-01"], dtype="datetime64[D]")
    >>> fit = grade_at([[0, 0]], [[1, 0], [0, 1]], [100.0, 100.5], [0.02, 0.02], days=days)
    >>> told = shots_change(fit, np.array(["2018-04-01"], dtype="datetime64[D]"))
    >>> told.change_in.tolist(), told.by.tolist()
    ([6.0], ['shots of 2018-04-01 and 2025-04-01'])
    """
    n = len(since)
    result = Change.none(n)
    has = np.flatnonzero((grade.stands >= 0) & ~np.isnat(since))
    now = grade.stands[has]
    later = grade.on[now] - since[has] > np.timedelta64(ONE_SURVEY_DAYS, "D")
    has, now = has[later], now[later]
    then = last_on(grade.hydrant, grade.on, has, since[has])
    # of what changed before the first survey nothing is known; what came after is sure
    dated = ~np.isnat(grade.on)
    first = np.searchsorted(grade.hydrant[dated], has)
    early = (then < 0) | ~np.append(dated, False)[then]
    then = np.where(early, np.append(np.flatnonzero(dated), -1)[first], then)
    change = (grade.elev_ft[now] - grade.elev_ft[then]) * 12.0
    sd = np.hypot(grade.sd_ft[now], grade.sd_ft[then]) * 12.0
    clear = np.abs(change) > TOLD_APART * sd
    rows, now, then = has[clear], now[clear], then[clear]
    held = _held_already(change[clear], grade.on[then], since[rows], grade.on[now])
    result.change_in[rows], result.sd_in[rows] = change[clear], np.hypot(sd[clear], held)
    first, last = (grade.on[at].astype(str).astype(object) for at in (then, now))
    result.by[rows] = fill("shots of {first} and {last}", first=first, last=last)
    return result


def works_change(
    hydrants: gpd.GeoSeries, works: gpd.GeoDataFrame, since: NDArray[np.datetime64]
) -> Change:
    """
    Change of grade since each height held, by works that were built after it.

    Parameters
    ----------
    hydrants
        Points, in the CRS of the works.
    works
        The `works` table; one that is not built counts nowhere.
    since
        As `terrain_change`.

    Returns
    -------
    change
        Works over each other add up.
    """
    total = Change.none(len(hydrants))
    built = works[works["built_on"].notna()]
    days = built["built_on"].to_numpy().astype("datetime64[D]")
    for day in np.unique(days):  # a handful of days
        told = planned_change(hydrants, built[days == day])
        rows = (since < day) & (told.by != "")
        total.change_in[rows] += told.change_in[rows]
        total.sd_in[rows] = np.hypot(total.sd_in[rows], told.sd_in[rows])
        joint = np.where(total.by[rows] == "", "", total.by[rows] + ", ")
        total.by[rows] = joint + told.by[rows] + f" of {day}"
    return total


def last_built(hydrants: gpd.GeoSeries, works: gpd.GeoDataFrame) -> NDArray[np.datetime64]:
    """
    The last day on which works changed the grade at each hydrant, NaT where none did, shape (n,).

    Parameters
    ----------
    hydrants
        Points, in the CRS of the works.
    works
        The `works` table.
    """
    result = np.full(len(hydrants), np.datetime64("NaT"), dtype="datetime64[D]")
    built = works[works["built_on"].notna()]
    days = built["built_on"].to_numpy().astype("datetime64[D]")
    for day in np.unique(days):  # a handful, in order
        result[planned_change(hydrants, built[days == day]).by != ""] = day
    return result


def planned_change(hydrants: gpd.GeoSeries, works: gpd.GeoDataFrame) -> Change:
    """
    Change of grade at hydrants by works, whenever they are built.

    Parameters
    ----------
    hydrants
        Points, in the CRS of the works.
    works
        The `works` table.

    Returns
    -------
    change
        Works over each other add up. One that states no uncertainty has `WORK_CHANGE_SD_SHARE` of
        its change.
    """
    n = len(hydrants)
    if not len(works):
        return Change.none(n)
    told = change_at(hydrants.to_numpy(), works.geometry.to_numpy(), works["change_in"])
    met = told.works > 0
    size = works["change_in"].abs().to_numpy(dtype=np.float64)
    spread = works["change_sd_in"].to_numpy(dtype=np.float64, na_value=np.nan)
    spread = np.where(np.isnan(spread), WORK_CHANGE_SD_SHARE * size, spread)
    pairs = pd.DataFrame({"at": told.point, "work": works["work_id"].to_numpy(object)[told.work]})
    names = pairs.drop_duplicates().sort_values(["at", "work"]).groupby("at")["work"].agg(" ".join)
    by = np.full(n, "", dtype=object)
    by[names.index] = "works " + names.to_numpy(dtype=object)
    return Change(
        np.where(met, told.change_in, 0.0), np.where(met, np.sqrt(told.total(spread**2)), 0.0), by
    )
