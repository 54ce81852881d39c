"""
Height rules: which outlet, which point of it, from which datum, between which limits, said where.

References
----------
.. [1] JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in
   conformity assessment, clause 8 (decision rules) (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SettingsError
from hydrantgis.ground.settings import SettingsReader
from hydrantgis.ground.tables import OUTLETS, POINTS

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

DATUMS = ("grade", "higher-of-curb-and-grade", "flange-bottom")
HOW_READ = ("seen", "second hand", "from memory")
GROUNDS = ("barrel", "highest", "lowest")
"""Which of the ground round a hydrant a rule may measure from."""
DECISIONS = ("simple", "guarded")


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Least and greatest height, both allowed; `-inf` or `inf` where there is no limit. [in]"""

    lo_in: float = -math.inf
    hi_in: float = math.inf
    target_in: float | None = None

    @property
    def limited(self) -> bool:
        """Whether there is any limit."""
        return math.isfinite(self.lo_in) or math.isfinite(self.hi_in)

    @property
    def aim_in(self) -> float:
        """The height to aim at: the target, else mid-window, else the one limit. [in]"""
        if self.target_in is not None:
            return self.target_in
        if math.isfinite(self.lo_in) and math.isfinite(self.hi_in):
            return (self.lo_in + self.hi_in) / 2
        return self.lo_in if math.isfinite(self.lo_in) else self.hi_in

    def __str__(self) -> str:
        if math.isfinite(self.lo_in) and math.isfinite(self.hi_in):
            return f"{self.lo_in:g} to {self.hi_in:g} in"
        if math.isfinite(self.lo_in):
            return f"{self.lo_in:g} in or more"
        return f"{self.hi_in:g} in or less" if math.isfinite(self.hi_in) else "no limit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Citation:
    """Where a rule stands, and how it was read."""

    document: str
    edition: str
    clause: str
    address: str
    read_on: dt.date
    how_read: str
    words: str

    def __str__(self) -> str:
        return f"{self.document} ({self.edition}), {self.clause} [{self.how_read}]"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightRule:
    """
    One height rule.

    Attributes
    ----------
    outlet
        Which outlet is judged; `any` takes a reading of whichever outlet.
    point
        `centerline` or `bottom` of it.
    datum
        What it is measured from.
    ground
        Where shots tell the grade: the ground at the `barrel`, or the `highest` or `lowest` of the
        shots round it.
    curb_within_in
        For the datum `higher-of-curb-and-grade`: how near the curb must be to count. [in]
    window, flange
        Limits of the outlet and of the breakaway flange.
    resolution_in
        Heights are rounded to this before they are held against a limit. [in]
    decision
        `simple`: the estimate decides. `guarded`: a verdict needs `confidence`, else it stays
        unresolved [1]_.
    """

    rule_id: str
    title: str
    outlet: str
    point: str
    datum: str
    window: Window
    flange: Window
    citation: Citation
    ground: str = "barrel"
    curb_within_in: float | None = None
    resolution_in: float = 0.01
    decision: str = "simple"
    confidence: float = 0.95
    note: str = ""

    def judging(self, outlet: str | None) -> HeightRule:
        """
        The same rule, for another outlet, where the user says which one is judged.

        The id then carries the outlet, so that it stands on every output.
        """
        if outlet is None or outlet == self.outlet:
            return self
        return replace(self, outlet=outlet, rule_id=f"{self.rule_id}+{outlet}")

    def __str__(self) -> str:
        ground = "" if self.ground == "barrel" else f" ({self.ground} round the barrel)"
        flange = f"; flange {self.flange}" if self.flange.limited else ""
        return (
            f"{self.point} of {self.outlet} outlet, {self.window} above "
            f"{self.datum.replace('-', ' ')}{ground}{flange}"
        )


def _window(reader: SettingsReader, *, required: bool) -> Window:
    lo, hi = reader.number("lo_in"), reader.number("hi_in")
    target = reader.number("target_in")
    if lo is not None and hi is not None and lo >= hi:
        reader.problem("hi_in", f"{hi:g} is not above lo_in {lo:g}; give the window low end first")
    if required and lo is None and hi is None:
        reader.problem("lo_in", "a window needs lo_in, hi_in or both; a bare target judges nothing")
    low = -math.inf if lo is None else lo
    high = math.inf if hi is None else hi
    if target is not None and not low <= target <= high:
        reader.problem("target_in", f"{target:g} lies outside the window")
    return Window(lo_in=low, hi_in=high, target_in=target)


def rule_from_mapping(mapping: Mapping[str, Any], name: str) -> HeightRule:
    """
    A height rule from what its file holds.

    Parameters
    ----------
    mapping
        As `tomllib` returns it.
    name
        The file's name, for messages.

    Raises
    ------
    SettingsError
        With every problem and its address.
    """
    reader = SettingsReader(mapping, name)
    reader.expect_format(1)
    rule_id = reader.text("rule_id", required=True)
    title = reader.text("title", required=True)
    outlet = reader.choice("outlet", OUTLETS, required=True)
    point = reader.choice("point", POINTS, required=True)
    datum = reader.choice("datum", DATUMS, required=True)
    ground = reader.choice("ground", GROUNDS)
    curb = reader.number("curb_within_in", above=0)
    if (datum == "higher-of-curb-and-grade") != (curb is not None):
        reader.problem("curb_within_in", "goes with datum `higher-of-curb-and-grade`, and only it")
    resolution = reader.number("resolution_in", above=0)
    note = reader.text("note")
    window = _window(reader.part("window", required=True), required=True)
    flange = _window(reader.part("flange"), required=reader.has("flange"))
    deciding = reader.part("decision")
    decision = deciding.choice("rule", DECISIONS)
    confidence = deciding.number("confidence", above=0.5)
    if confidence is not None and confidence >= 1:
        deciding.problem("confidence", f"{confidence:g} is not below 1")
    cited = reader.part("citation", required=True)
    document, edition = cited.text("document", required=True), cited.text("edition", required=True)
    clause, address = cited.text("clause", required=True), cited.text("address", required=True)
    read_on = cited.date("read_on", required=True)
    how_read = cited.choice("how_read", HOW_READ, required=True)
    words = cited.text("words", required=True)
    reader.finish()
    needed = (rule_id, title, outlet, point, datum, document, edition, clause, address, words)
    if None in needed or read_on is None or how_read is None:  # pragma: no cover - finish told it
        raise SettingsError(f"{name} is incomplete")
    return HeightRule(
        rule_id=str(rule_id),
        title=str(title),
        outlet=str(outlet),
        point=str(point),
        datum=str(datum),
        window=window,
        flange=flange,
        citation=Citation(
            document=str(document),
            edition=str(edition),
            clause=str(clause),
            address=str(address),
            read_on=read_on,
            how_read=how_read,
            words=str(words),
        ),
        ground=ground or "barrel",
        curb_within_in=curb,
        resolution_in=0.01 if resolution is None else resolution,
        decision=decision or "simple",
        confidence=0.95 if confidence is None else confidence,
        note=note or "",
    )
