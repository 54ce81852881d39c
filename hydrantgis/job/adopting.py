"""
What a planner changed in the workbook, taken into the plan: each entry is tried, told and counted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.seasons import EDITS
from hydrantgis.intake.plannerbook import read_plannerbook
from hydrantgis.job.choosing import choose
from hydrantgis.job.contenders import ASKED, contenders
from hydrantgis.job.moment import quiet
from hydrantgis.job.seasoning import CANNOT, Planned, fingerprint, told_of
from hydrantgis.job.solving import select
from hydrantgis.season.calendar import CrewDays, moved
from hydrantgis.season.crewdays import openings
from hydrantgis.season.selection import must_have

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    from numpy.typing import NDArray

    from hydrantgis.job.checking import Checked
    from hydrantgis.job.choosing import Made
    from hydrantgis.job.contenders import Contenders
    from hydrantgis.standards.season import SeasonWords

_ORDER = {"decision": 0, "crew": 1, "week": 2, "note": 3}
_COLUMN = {"decision": "decision", "crew": "crew_id", "week": "week", "note": "note"}


@dataclass(frozen=True, slots=True)
class Adopted:
    """
    A plan with what the planner changed.

    Attributes
    ----------
    planned
        The plan.
    before
        The plan without any of it.
    edits
        The `edits` table: every entry, and what became of it.
    of_another
        The workbook was made from another check, or another season file of that name.
    """

    planned: Planned
    before: Planned
    edits: pd.DataFrame
    of_another: bool = False


def adopt_book(
    result: Checked,
    words: SeasonWords,
    path: Path | str,
    *,
    seed: int = 1,
    tell: Callable[[str], None] = quiet,
) -> Adopted:
    """
    Take what stands in a planner's workbook into the plan.

    Parameters
    ----------
    result, words, seed, tell
        As `hydrantgis.job.plan_season`.
    path
        The workbook, as it came back.

    Raises
    ------
    UnreadableError, SourceError
        It is no workbook of a plan.
    WordsError
        It is of another season.
    """
    book = read_plannerbook(Path(path))
    if book.season_id != words.season_id:
        raise WordsError(
            "the workbook is of another season", where=Path(path).name, found=book.season_id,
            accepted=words.season_id, do="name the season file that it was made from",
        )  # fmt: skip
    told = adopt(result, words, book.standing(), seed=seed, tell=tell)
    return replace(told, of_another=book.fingerprint != fingerprint(result, words))


def adopt(
    result: Checked,
    words: SeasonWords,
    entries: pd.DataFrame,
    *,
    seed: int = 1,
    tell: Callable[[str], None] = quiet,
) -> Adopted:
    """
    Take what a planner decided into the plan.

    Parameters
    ----------
    result, words, seed, tell
        As `hydrantgis.job.plan_season`.
    entries
        What stands in the workbook: `row`, `hydrant_id`, `entry`, one of decision, crew, week and
        note, `value`, missing where it was cleared, and `problem`, missing where there is none.

    Returns
    -------
    adopted
        Every entry stands in `edits`. A decision is refused where the season file says otherwise,
        where the job cannot be done, and where no choice with it keeps the limits; crew and week
        where the job has no day there. What each does is counted alone, over the plan without any.

    Raises
    ------
    WordsError
        As `hydrantgis.job.plan_season`.
    """
    tell("the plan without what was changed")
    from_ = contenders(result, words)
    base = choose(from_, seed=seed, tell=tell)
    trial = _Trial(from_, base)
    # what goes out makes room; of what comes in, the weightiest is tried first
    weight = from_.table.set_index("hydrant_id")["priority"]
    rows = entries.assign(
        place=entries["entry"].map(_ORDER).fillna(9), comes=entries["value"] == "include",
        worth=-entries["hydrant_id"].map(weight).astype("float64").fillna(0.0),
    )  # fmt: skip
    rows = rows.sort_values(["place", "comes", "worth", "row"], kind="stable")
    told = []
    for entry in rows.to_dict("records"):  # what one person typed
        tell(f"{entry['hydrant_id']}: {entry['entry']} {entry['value']}")
        told.append({str(name): value for name, value in entry.items()} | trial.of(entry))
    edits = EDITS.conform(pd.DataFrame(told, columns=[*rows.columns, *_TOLD]))
    taken = contenders(result, words, trial.only())
    like = from_.table["hydrant_id"].iloc[base.chosen]
    planned = told_of(taken, choose(taken, seed=seed, tell=tell, like=like))
    return Adopted(planned, told_of(from_, base), _as_it_came(edits, planned))


_TOLD = (
    "outcome", "reason", "cost_change", "hours_change", "priority_change", "jobs_moved",
)  # fmt: skip


class _Trial:
    """Entries one after the other: what each alone does, and whether it goes with those before."""

    def __init__(self, from_: Contenders, base: Made) -> None:
        self.from_, self.base = from_, base
        ids = from_.table["hydrant_id"]
        self.at = {str(name): place for place, name in enumerate(ids)}
        self.barred: list[str] = from_.table["barred"].fillna("").tolist()
        free = np.flatnonzero(from_.table["barred"].isna().to_numpy())
        self.in_pool = {int(at): place for place, at in enumerate(free)}
        self.pool = base.pool[0]
        self.taken: dict[str, dict[str, str]] = {}

    def only(self) -> pd.DataFrame:
        """What was taken, by hydrant."""
        frame = pd.DataFrame.from_dict(self.taken, orient="index", columns=list(ASKED), dtype="str")
        return frame.rename_axis("hydrant_id")

    def of(self, entry: Mapping[Any, Any]) -> dict[str, object]:
        """What becomes of an entry."""
        hydrant, value = str(entry["hydrant_id"]), entry["value"]
        if not pd.isna(entry["problem"]):
            return {"outcome": "refused", "reason": entry["problem"]}
        at = self.at.get(hydrant)
        if at is None:
            return {"outcome": "refused", "reason": "no job of the season is at this hydrant"}
        if pd.isna(value):
            return {"outcome": "nothing to do", "reason": "cleared: anything goes again"}
        kind = str(entry["entry"])
        if kind == "decision":
            told = self._decided(hydrant, at, str(value))
        elif kind == "note":
            told = {"outcome": "noted"}
        else:
            told = self._asked(hydrant, at, kind, str(value))
        if told["outcome"] != "refused":
            self.taken.setdefault(hydrant, {})[_COLUMN[kind]] = str(value)
        return told

    def _decided(self, hydrant: str, at: int, value: str) -> dict[str, object]:
        words, barred = self.from_.words, self.barred[at]
        against = words.never if value == "include" else words.must
        if hydrant in against:
            name = "never" if value == "include" else "must"
            return {"outcome": "refused", "reason": f"`jobs.{name}` of the season file names it"}
        if barred:
            if value == "exclude":
                return {"outcome": "adopted", "reason": f"it cannot be done anyway: {barred}"}
            return {"outcome": "refused", "reason": barred}
        jobs, limits = self.base.pool
        n, place = len(jobs.priority), self.in_pool[at]
        one = np.arange(n) == place

        def with_it(of: NDArray[np.bool_], kind: str) -> NDArray[np.bool_]:
            return of | one if value == kind else of

        alone = replace(
            jobs, must=with_it(jobs.must, "include"), never=with_it(jobs.never, "exclude")
        )
        before, after = self.base.selected, select(alone, limits)
        pool = replace(
            self.pool, must=with_it(self.pool.must, "include"),
            never=with_it(self.pool.never, "exclude"),
        )  # fmt: skip
        why = after.why_none if not after.chosen.any() else tuple(must_have(pool, limits))
        if why and not (value == "exclude" and n == 1):
            return {"outcome": "refused", "reason": "; ".join(why)}
        self.pool = pool
        others = (after.chosen != before.chosen) & ~one
        return {
            "outcome": "adopted",
            "reason": "it was so already" if after.chosen[place] == before.chosen[place] else None,
            "cost_change": after.cost - before.cost, "hours_change": after.hours - before.hours,
            "priority_change": after.value - before.value, "jobs_moved": int(others.sum()),
        }  # fmt: skip

    def _asked(self, hydrant: str, at: int, kind: str, value: str) -> dict[str, object]:
        from_ = self.from_
        crews = [crew.crew_id for crew in from_.words.crews]
        if kind == "crew" and value not in crews:
            reason = f"there is no crew `{value}`; there are {', '.join(crews)}"
            return {"outcome": "refused", "reason": reason}
        asked = {**self.taken.get(hydrant, {}), _COLUMN[kind]: value}
        row = from_.table.iloc[[at]].assign(
            **{ASKED[name]: text for name, text in asked.items() if name in ("crew_id", "week")}
        )
        allowed, why = openings(row, from_.days, from_.words)
        if why[0] is not None:
            return {"outcome": "refused", "reason": str(why[0])}
        place = np.flatnonzero(self.base.chosen == at)
        if not len(place):
            return {
                "outcome": "adopted",
                "reason": "it is not in the plan; it holds if it comes in",
            }
        days = CrewDays(hours=from_.days["hours"].to_numpy(), day=from_.days["day"].to_numpy())
        hours = moved(
            self.base.work, days, self.base.tours, int(place[0]),
            allowed[0] & self.base.work.allowed[place[0]],
            area_hours=from_.words.area_hours,
        )  # fmt: skip
        if np.isnan(hours):
            return {"outcome": "adopted", "reason": "others have to move for it"}
        cost = hours * from_.words.hour_cost
        return {"outcome": "adopted", "cost_change": cost, "hours_change": hours,
                "priority_change": 0.0, "jobs_moved": 0}  # fmt: skip


def _as_it_came(edits: pd.DataFrame, planned: Planned) -> pd.DataFrame:
    """What the plan made of entries that were taken: one that has no day in it is refused."""
    why = planned.selection.set_index("hydrant_id")["why"]
    told = edits["hydrant_id"].map(why).fillna("")
    include = (edits["entry"] == "decision") & (edits["value"] == "include")
    taken = edits["outcome"] == "adopted"
    lost = taken & include & told.str.startswith(CANNOT)
    over = (
        taken
        & ~include
        & edits["entry"].isin(["crew", "week"])
        & told.str.startswith("carried over")
    )
    reason = edits["reason"].mask(lost, told.str.removeprefix(CANNOT)).mask(over, told)
    return edits.assign(outcome=edits["outcome"].mask(lost, "refused"), reason=reason)
