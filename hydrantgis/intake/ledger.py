"""
The ledger of an intake: what became of each row, and everything that was noticed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.ground.errors import CountError
from hydrantgis.ground.findings import findings, no_findings

if TYPE_CHECKING:
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


@dataclass(slots=True)
class Ledger:
    """Who was put aside, why, and everything that was noticed."""

    table: Table
    index: pd.Index[int]
    outcome: pd.Series = field(init=False)
    code: pd.Series = field(init=False)
    notes: list[pd.DataFrame] = field(default_factory=lambda: [no_findings()])

    def __post_init__(self) -> None:
        self.outcome = pd.Series("accepted", index=self.index, dtype="str")
        self.code = pd.Series(None, index=self.index, dtype="str")

    def put_aside(self, rows: pd.Series, outcome: str, code: str, message: str | None) -> None:
        """Hold or reject the rows that are still accepted; a finding each, unless told before."""
        fresh = rows & (self.outcome == "accepted")
        if fresh.any():
            self.outcome[fresh] = outcome
            self.code[fresh] = code
            if message is None:
                return
            self.notes.append(
                findings(code, table=self.table.name, keys=self.index[fresh], messages=message)
            )
