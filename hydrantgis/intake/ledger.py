"""
The ledger of an intake: what became of each row, and everything that was noticed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.ground.errors import CountError
from hydrantgis.ground.findings import CODES, findings, no_findings
from hydrantgis.ground.tables import READINGS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from hydrantgis.ground.table import Table


@dataclass(frozen=True, slots=True)
class Count:
    """
    How many rows came in and what became of them.

    Raises
    ------
    CountError
        The sum does not hold; that is a fault of this program.

    Examples
    --------
    >>> print(Count(rows=10, accepted=8, held=1, rejected=1))
    10 rows in = 8 accepted + 1 held + 1 rejected
    """

    rows: int
    accepted: int
    held: int
    rejected: int

    def __post_init__(self) -> None:
        if self.rows != self.accepted + self.held + self.rejected:
            raise CountError(f"rows do not add up: {self}")

    def __str__(self) -> str:
        return (
            f"{self.rows:,} rows in = {self.accepted:,} accepted + {self.held:,} held + "
            f"{self.rejected:,} rejected"
        )


def id_column(table: Table) -> str:
    """
    The column by which a source names its rows; a reading is named by its hydrant.

    Examples
    --------
    >>> from hydrantgis.ground.tables import READINGS, VALVES
    >>> id_column(READINGS), id_column(VALVES)
    ('hydrant_id', 'valve_id')
    """
    return "hydrant_id" if table is READINGS else table.key


@dataclass(slots=True)
class Ledger:
    """Who was put aside, why, and everything that was noticed."""

    table: Table
    index: pd.Index[int]
    outcome: pd.Series = field(init=False)
    code: pd.Series = field(init=False)
    message: pd.Series = field(init=False)
    foot: str | None = None
    notes: list[pd.DataFrame] = field(default_factory=lambda: [no_findings()])

    def __post_init__(self) -> None:
        self.outcome = pd.Series("accepted", index=self.index, dtype="str")
        self.code = pd.Series(None, index=self.index, dtype="str")
        self.message = pd.Series(None, index=self.index, dtype="str")

    @property
    def id_column(self) -> str:
        """As `id_column` of its table."""
        return id_column(self.table)

    def count(self) -> Count:
        """The balance; raises `CountError` where it does not hold."""
        many = self.outcome.value_counts()
        kinds = {name: int(many.get(name, 0)) for name in ("accepted", "held", "rejected")}
        return Count(rows=len(self.index), **kinds)

    def put_aside(self, rows: pd.Series, outcome: str, code: str, message: str | None) -> None:
        """Hold or reject the rows that are still accepted; a finding each, unless told before."""
        fresh = rows & (self.outcome == "accepted")
        if fresh.any():
            self.outcome[fresh] = outcome
            self.code[fresh] = code
            self.message[fresh] = CODES[code].meaning if message is None else message
            if message is None:
                return
            self.notes.append(
                findings(code, table=self.table.name, keys=self.index[fresh], messages=message)
            )

    def put_aside_with(
        self, rows: pd.Series, outcome: str, code: str, messages: NDArray[np.object_]
    ) -> None:
        """As `put_aside`, with a message a row, in the order of the rows."""
        told = pd.Series(messages, index=self.index[rows], dtype="str")
        fresh = rows & (self.outcome == "accepted")
        self.put_aside(rows, outcome, code, message=None)
        self.message[fresh] = told[self.index[fresh]]
        self.notes.append(
            findings(
                code, table=self.table.name, keys=self.index[fresh],
                messages=told[self.index[fresh]].tolist(),
            )
        )  # fmt: skip
