"""
What a job sheet says of the work: its steps in order, where it stops, and what may go wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """
    A step, or a caution.

    Attributes
    ----------
    jobs
        Remedies that it is for.
    text
        What it says.
    source
        Where it comes from.
    hold
        What is signed for before the work goes on; None where it goes on.
    unknown_flange
        Whether it is only for hydrants whose flange nobody has measured.
    """

    jobs: tuple[str, ...]
    text: str
    source: str
    hold: str | None = None
    unknown_flange: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fieldwork:
    """
    Order of work and cautions of every kind of job.

    Attributes
    ----------
    steps, cautions
        In order.
    source
        Where lines come from that say nothing else.
    """

    steps: tuple[Line, ...]
    cautions: tuple[Line, ...]
    source: str

    def steps_of(self, remedy: str, *, flange_known: bool = True) -> tuple[Line, ...]:
        """The steps of a job, in order."""
        return tuple(
            line for line in self.steps
            if remedy in line.jobs and not (line.unknown_flange and flange_known)
        )  # fmt: skip

    def cautions_of(self, remedy: str) -> tuple[Line, ...]:
        """The cautions of a job."""
        return tuple(line for line in self.cautions if remedy in line.jobs)


def fieldwork_from_mapping(mapping: Mapping[str, Any]) -> Fieldwork:
    """
    The order of work from what its file holds.

    Parameters
    ----------
    mapping
        As `tomllib` returns it.

    Examples
    --------
    >>> told = fieldwork_from_mapping(
    ...     {"source": "ours", "step": [{"jobs": ["measure"], "text": "Look."}], "caution": []}
    ... )
    >>> [(line.text, line.source, line.hold) for line in told.steps_of("measure")]
    [('Look.', 'ours', None)]
    """
    source = str(mapping["source"])

    def lines(key: str) -> tuple[Line, ...]:
        return tuple(
            Line(
                jobs=tuple(str(job) for job in entry["jobs"]), text=str(entry["text"]),
                source=str(entry.get("source", source)), hold=entry.get("hold"),
                unknown_flange=bool(entry.get("unknown_flange", False)),
            )
            for entry in mapping[key]
        )  # fmt: skip

    return Fieldwork(steps=lines("step"), cautions=lines("caution"), source=source)
