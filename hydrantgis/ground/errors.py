"""
Errors: what is wrong, where, what was found, what is accepted, what to do.

An error means that the caller must act. A doubtful row is no error; it is a finding
(`hydrantgis.ground.findings`) and the row is kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


class HydrantGISError(Exception):
    """
    The one base of every error that this package raises on purpose.

    Parameters
    ----------
    what
        What is wrong, one sentence.
    where
        File, layer, row key or `$.address` in a settings file.
    found
        What stands there.
    accepted
        What would be accepted instead.
    do
        What the reader can do about it.

    Examples
    --------
    >>> print(UnitError("the column has no unit", where="h.csv, column `HGT`", do="pass --unit"))
    the column has no unit
      where:    h.csv, column `HGT`
      to do:    pass --unit
    """

    def __init__(
        self,
        what: str,
        *,
        where: str | None = None,
        found: str | None = None,
        accepted: str | None = None,
        do: str | None = None,
    ) -> None:
        self.what = what
        self.where = where
        self.found = found
        self.accepted = accepted
        self.do = do
        labelled = [
            ("where:", where),
            ("found:", found),
            ("accepted:", accepted),
            ("to do:", do),
        ]
        lines = [what] + [f"  {label:<9} {text}" for label, text in labelled if text]
        super().__init__("\n".join(lines))


class WordsError(HydrantGISError):
    """The words of a command, or the arguments of a call, do not fit together."""


class SettingsError(HydrantGISError):
    """A rule, kit, profile or other settings file has problems; all are told at once."""


class SourceError(HydrantGISError):
    """A source cannot be used as it is: no layer named of several, a field that is not there."""


class UnreadableError(SourceError):
    """A file is missing, damaged, incomplete or of no known format."""


class LockedError(UnreadableError):
    """Another program has the file open for writing."""


class CRSError(HydrantGISError):
    """A coordinate reference system is missing, unknown or cannot be right."""


class UnitError(HydrantGISError):
    """A unit or a datum is missing or unknown; none is ever guessed."""


class RegisterError(HydrantGISError):
    """The register lacks what the step needs, or is of a format this version does not know."""


class CountError(HydrantGISError):
    """Rows in are not accepted + held + rejected: a fault of this program, never of the data."""


def some(values: Sequence[object], most: int = 5) -> str:
    """
    List the first few values and say how many more there are.

    Examples
    --------
    >>> some([1, 2, 3], most=2)
    '1, 2 and 1 more'
    """
    shown = ", ".join(str(value) for value in values[:most])
    rest = len(values) - most
    return f"{shown} and {rest:,} more" if rest > 0 else shown
