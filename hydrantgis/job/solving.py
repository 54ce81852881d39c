"""
The solver of a season: HiGHS, with the largest value that any choice could have beside its answer.
"""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.ground.errors import HydrantGISError
from hydrantgis.season.selection import broken, greedy, must_have, program, used

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from hydrantgis.season.selection import Candidates, Limits

GAP = 1e-5
"""A choice is good enough where none could be better by more than this share."""
NO_JOBS = "there are no jobs"
"""Why nothing is chosen where there is nothing to choose from."""
MOST_SECONDS = 60.0
"""Longer than this it is not looked for; what is found by then stands, with its gap. [s]"""


@dataclass(frozen=True, slots=True)
class Selected:
    """
    A choice of jobs.

    Attributes
    ----------
    chosen
        Whether each job is done; shape (n,).
    value, bound
        Its priority in all, and the most that any choice could have.
    by_greedy
        The priority of the greedy choice.
    cost, hours
        With the mobilisation of its areas. [money, h]
    binding
        Limits that are used up, so that more of them would bring more.
    why_none
        Why nothing can be chosen, in words; empty where something can.
    """

    chosen: NDArray[np.bool_]
    value: float
    bound: float
    by_greedy: float
    cost: float
    hours: float
    binding: tuple[str, ...]
    why_none: tuple[str, ...]

    @property
    def gap(self) -> float:
        """By what share a better choice could be better."""
        return 0.0 if self.bound <= 0 else max(0.0, 1.0 - self.value / self.bound)


def select(
    jobs: Candidates, limits: Limits, *, gap: float = GAP, most_seconds: float = MOST_SECONDS
) -> Selected:
    """
    The jobs of the highest total priority within limits.

    Parameters
    ----------
    jobs, limits
        What there is to choose from, and within what.
    gap
        Good enough.
    most_seconds
        Long enough. [s]

    Raises
    ------
    HydrantGISError
        The solver gave an answer that breaks a limit; a fault of this program.

    Examples
    --------
    >>> from hydrantgis.season.selection import Candidates, Limits
    >>> jobs = Candidates(priority=np.array([3.0, 2.0, 2.0]), cost=np.array([9.0, 5.0, 5.0]),
    ...     hours=np.ones(3), area=np.zeros(3, int), must=np.zeros(3, bool),
    ...     never=np.zeros(3, bool))
    >>> told = select(jobs, Limits(budget=10.0, crew_hours=9.0, area_cost=0.0, area_hours=0.0,
    ...     least=np.zeros(1, int)))
    >>> told.chosen.tolist(), told.value, told.binding
    ([False, True, True], 4.0, ('budget',))
    """
    n = len(jobs.priority)
    nothing = np.zeros(n, dtype=bool)
    why = must_have(jobs, limits)
    if why or not n:
        return Selected(nothing, 0.0, 0.0, 0.0, 0.0, 0.0, (), tuple(why or [NO_JOBS]))
    start = greedy(jobs, limits)
    kept = not broken(jobs, limits, start)
    found, bound = _solved(jobs, limits, start if kept else None, gap, most_seconds)
    if found is None and not kept:
        return Selected(
            nothing, 0.0, 0.0, 0.0, 0.0, 0.0, (),
            (
                "what must be done and what areas are owed takes more than the "
                f"{limits.budget:,.2f} of money or the {limits.crew_hours:,.1f} crew hours",
            ),
        )  # fmt: skip
    best = start
    if found is not None and (not kept or _value(jobs, found) >= _value(jobs, start)):
        best = found
    faults = broken(jobs, limits, best)
    if faults:  # pragma: no cover - a second look at what the solver says
        raise HydrantGISError("the season breaks a limit", found="; ".join(faults))
    cost, hours = used(jobs, limits, best)
    return Selected(
        best, _value(jobs, best), max(bound, _value(jobs, best)),
        _value(jobs, start) if kept else 0.0, cost, hours,
        _binding(jobs, limits, best, cost, hours),
        () if best.any() else ("no job fits into the budget and the crew hours",),
    )  # fmt: skip


def _value(jobs: Candidates, chosen: NDArray[np.bool_]) -> float:
    return float(jobs.priority[chosen].sum())


def _binding(
    jobs: Candidates, limits: Limits, chosen: NDArray[np.bool_], cost: float, hours: float
) -> tuple[str, ...]:
    """Limits of which too little is left for the cheapest job that was left out."""
    left = ~chosen & ~jobs.never
    if not left.any():
        return ()
    told = []
    if cost + float(jobs.cost[left].min()) > limits.budget:
        told.append("budget")
    if hours + float(jobs.hours[left].min()) > limits.crew_hours:
        told.append("crew hours")
    return tuple(told)


def _solved(
    jobs: Candidates,
    limits: Limits,
    start: NDArray[np.bool_] | None,
    gap: float,
    most_seconds: float,
) -> tuple[NDArray[np.bool_] | None, float]:
    """What HiGHS chooses, None where it finds nothing, and the bound on every choice."""
    import highspy

    model, n = program(jobs, limits), len(jobs.priority)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(model.gain), len(model.row_upper)
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = -model.gain, model.lower, model.upper
    lp.row_lower_, lp.row_upper_ = model.row_lower, model.row_upper
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_, lp.a_matrix_.index_ = model.starts, model.columns
    lp.a_matrix_.value_ = model.values
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(model.gain)
    with _no_banner():
        solver = highspy.Highs()  # type: ignore[no-untyped-call]
        for name, value in (
            ("output_flag", False), ("mip_rel_gap", gap), ("time_limit", most_seconds),
            ("random_seed", 1), ("threads", 1),
        ):  # fmt: skip
            solver.setOptionValue(name, value)
        # threads of another run in this process would leave the model unsolved
        highspy.Highs.resetGlobalScheduler(True)
        solver.passModel(lp)
        if start is not None:
            open_ = np.zeros(len(limits.least))
            open_[jobs.area[start]] = 1.0
            guess = highspy.HighsSolution()
            guess.col_value = np.concatenate([start.astype(np.float64), open_]).tolist()
            solver.setSolution(guess)
        solver.run()
    info = solver.getInfo()
    none = highspy.HighsModelStatus
    most = float(jobs.priority[~jobs.never].sum())
    bound = min(-float(info.mip_dual_bound), most)
    if solver.getModelStatus() == none.kInfeasible or not np.isfinite(
        info.objective_function_value
    ):
        return None, 0.0
    chosen = np.asarray(solver.getSolution().col_value[:n]) > 0.5
    return (None if broken(jobs, limits, chosen) else chosen), bound if np.isfinite(bound) else most


@contextmanager
def _no_banner() -> Iterator[None]:
    """HiGHS greets on standard output, where JSON may be due: what it says goes nowhere."""
    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # there is no standard output
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(nowhere)
        os.close(kept)
