"""
Which jobs a season can pay and man: the ones of the highest total priority within its limits.

Every area that is worked in costs a mobilisation, of money and of hours; some jobs must be done,
some never, and an area may be owed a least number. That is a mixed-integer program; what solves it
stands elsewhere, and a greedy choice is the start and the yardstick.

References
----------
.. [1] Dantzig, G. B., Discrete-variable extremum problems, Operations Research 5 (1957) 266: the
   items of a knapsack by value over weight (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """
    Jobs that may be done, n of them in m areas.

    Attributes
    ----------
    priority, cost, hours
        0 or more; shape (n,). [-, money, h]
    area
        From 0 to m-1; shape (n,).
    must, never
        Whether it has to be done, or may not be; shape (n,).
    """

    priority: NDArray[np.float64]
    cost: NDArray[np.float64]
    hours: NDArray[np.float64]
    area: NDArray[np.intp]
    must: NDArray[np.bool_]
    never: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """
    What a season has.

    Attributes
    ----------
    budget, crew_hours
        In all. [money, h]
    area_cost, area_hours
        Of each area that is worked in, whatever is done there. [money, h]
    least
        Jobs that each area is owed; shape (m,).
    """

    budget: float
    crew_hours: float
    area_cost: float
    area_hours: float
    least: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Program:
    """
    A mixed-integer program: the largest gain of x, each 0 or 1, with rows within limits.

    The first n columns are jobs, the m others areas. Rows stand one after the other, row i from
    `starts[i]` to `starts[i + 1]`.
    """

    gain: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    row_lower: NDArray[np.float64]
    row_upper: NDArray[np.float64]
    starts: NDArray[np.intp]
    columns: NDArray[np.intp]
    values: NDArray[np.float64]


def used(jobs: Candidates, limits: Limits, chosen: NDArray[np.bool_]) -> tuple[float, float]:
    """
    Cost and hours of a choice, with the mobilisation of its areas.

    Parameters
    ----------
    jobs, limits
        What there is to choose from, and within what.
    chosen
        Whether each job is done, shape (n,).
    """
    areas = len(np.unique(jobs.area[chosen]))
    cost = float(jobs.cost[chosen].sum()) + areas * limits.area_cost
    return cost, float(jobs.hours[chosen].sum()) + areas * limits.area_hours


def program(jobs: Candidates, limits: Limits) -> Program:
    """
    The choice as a mixed-integer program.

    Parameters
    ----------
    jobs, limits
        As `used`.

    Notes
    -----
    A job needs its area: x_job <= x_area, job by job, which is tighter than a sum over the area.
    """
    n, m = len(jobs.priority), len(limits.least)
    every = np.arange(n + m)
    owed = np.flatnonzero(limits.least > 0)
    of_owed = [np.flatnonzero(jobs.area == area) for area in owed]  # a few areas
    sizes = [n + m, n + m, *np.full(n, 2).tolist(), *(len(rows) for rows in of_owed)]
    pairs = np.column_stack([np.arange(n), n + jobs.area])
    return Program(
        gain=np.concatenate([jobs.priority, np.zeros(m)]),
        lower=np.concatenate([jobs.must.astype(np.float64), np.zeros(m)]),
        upper=np.concatenate([(~jobs.never).astype(np.float64), np.ones(m)]),
        row_lower=np.concatenate([np.full(2 + n, -np.inf), limits.least[owed].astype(np.float64)]),
        row_upper=np.concatenate(
            [[limits.budget, limits.crew_hours], np.zeros(n), np.full(len(owed), np.inf)]
        ),
        starts=np.concatenate([[0], np.cumsum(sizes)]).astype(np.intp),
        columns=np.concatenate([every, every, pairs.ravel(), *of_owed]).astype(np.intp),
        values=np.concatenate(
            [
                jobs.cost, np.full(m, limits.area_cost), jobs.hours, np.full(m, limits.area_hours),
                np.tile([1.0, -1.0], n), *(np.ones(len(rows)) for rows in of_owed),
            ]
        ),
    )  # fmt: skip


def _share_of_limits(jobs: Candidates, limits: Limits) -> NDArray[np.float64]:
    """What share of the scarcer limit each job takes, shape (n,)."""
    money, time = max(limits.budget, 1e-9), max(limits.crew_hours, 1e-9)
    return np.maximum(np.maximum(jobs.cost / money, jobs.hours / time), 1e-12)


def greedy(jobs: Candidates, limits: Limits) -> NDArray[np.bool_]:
    """
    A good choice at once: what must be and what is owed, then by priority over share [1]_.

    Parameters
    ----------
    jobs, limits
        As `used`.

    Returns
    -------
    chosen
        Within the limits where what must be and what is owed is; shape (n,).

    Examples
    --------
    >>> jobs = Candidates(priority=np.array([3.0, 2.0, 2.0]), cost=np.array([9.0, 5.0, 5.0]),
    ...     hours=np.ones(3), area=np.zeros(3, int), must=np.zeros(3, bool),
    ...     never=np.zeros(3, bool))
    >>> limits = Limits(budget=10.0, crew_hours=9.0, area_cost=0.0, area_hours=0.0,
    ...     least=np.zeros(1, int))
    >>> greedy(jobs, limits).tolist()
    [False, True, True]
    """
    n, m = len(jobs.priority), len(limits.least)
    density = jobs.priority / _share_of_limits(jobs, limits)
    order = np.lexsort((np.arange(n), -density))
    allowed = order[~jobs.never[order]]
    chosen = jobs.must & ~jobs.never
    for area in np.flatnonzero(limits.least > 0):  # a few areas
        ours = allowed[(jobs.area[allowed] == area) & ~chosen[allowed]]
        lacks = int(limits.least[area]) - int((jobs.area[chosen] == area).sum())
        chosen[ours[: max(lacks, 0)]] = True
    open_ = np.zeros(m, dtype=bool)
    open_[jobs.area[chosen]] = True
    cost, hours = used(jobs, limits, chosen)
    for job in allowed[~chosen[allowed]].tolist():
        area = jobs.area[job]
        more = 0.0 if open_[area] else 1.0
        new_cost = cost + jobs.cost[job] + more * limits.area_cost
        new_hours = hours + jobs.hours[job] + more * limits.area_hours
        if new_cost <= limits.budget and new_hours <= limits.crew_hours:
            chosen[job], open_[area], cost, hours = True, True, new_cost, new_hours
    return chosen


def broken(jobs: Candidates, limits: Limits, chosen: NDArray[np.bool_]) -> list[str]:
    """
    Which hard limits a choice breaks, in words; none where it keeps all.

    Parameters
    ----------
    jobs, limits
        As `used`.
    chosen
        Whether each job is done, shape (n,).
    """
    cost, hours = used(jobs, limits, chosen)
    counts = np.bincount(jobs.area[chosen], minlength=len(limits.least))
    told = []
    if cost > limits.budget * (1 + 1e-9) + 1e-6:
        told.append(f"cost {cost:,.2f} over the budget of {limits.budget:,.2f}")
    if hours > limits.crew_hours * (1 + 1e-9) + 1e-6:
        told.append(f"{hours:,.1f} crew hours over the {limits.crew_hours:,.1f} there are")
    if (jobs.must & ~chosen).any():
        told.append(f"{int((jobs.must & ~chosen).sum()):,} jobs that must be done are not")
    if (jobs.never & chosen).any():
        told.append(f"{int((jobs.never & chosen).sum()):,} jobs that may not be done are")
    short = int((counts < limits.least).sum())
    if short:
        told.append(f"too few jobs in {short:,} of the areas that are owed some")
    return told


def must_have(jobs: Candidates, limits: Limits) -> list[str]:
    """
    Why no choice at all can keep the limits, as far as that is plain; none where one may.

    Parameters
    ----------
    jobs, limits
        As `used`.
    """
    told = []
    both = jobs.must & jobs.never
    if both.any():
        told.append(f"{int(both.sum()):,} jobs must be done and may not be")
    there = np.bincount(jobs.area[~jobs.never], minlength=len(limits.least))
    if (there < limits.least).any():
        told.append(
            f"too few jobs in {int((there < limits.least).sum()):,} of the areas that are owed some"
        )
    told += [text for text in broken(jobs, limits, jobs.must) if " over " in text]
    return told
