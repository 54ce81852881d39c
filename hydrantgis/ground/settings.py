"""
Settings files read with an address for every fault, all faults at once, unknown keys refused.

The reader walks a mapping (what `tomllib` returns); who opens the file is no matter here.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

from rapidfuzz import fuzz, process

from hydrantgis.ground.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class SettingsReader:
    """
    Take keys out of a mapping; `finish` refuses what was not taken and tells all problems.

    Parameters
    ----------
    mapping
        What the file holds.
    name
        The file's name, for messages.

    Examples
    --------
    >>> reader = SettingsReader({"lo_in": "x", "hi": 3}, "window.toml")
    >>> reader.number("lo_in")
    >>> reader.finish()
    Traceback (most recent call last):
    hydrantgis.ground.errors.SettingsError: window.toml has 2 problems
      found:    $.lo_in: 'x' is no number
                $.hi: unknown key; known here: lo_in
      to do:    correct the file; nothing of it was used
    """

    def __init__(
        self,
        mapping: Mapping[str, Any],
        name: str,
        *,
        address: str = "$",
        problems: list[str] | None = None,
    ) -> None:
        self._mapping = mapping
        self._name = name
        self._address = address
        self._taken: set[str] = set()
        self._parts: list[SettingsReader] = []
        self.problems: list[str] = [] if problems is None else problems

    def problem(self, key: str, text: str) -> None:
        """Note a problem at `key`; it is told by `finish`."""
        self.problems.append(f"{self._address}.{key}: {text}")

    def expect_format(self, number: int) -> None:
        """Take `format`, the number of the file's layout, and note any other one."""
        if self.number("format", required=True) not in (float(number), None):
            self.problem("format", f"this version reads format {number}")

    @property
    def keys(self) -> tuple[str, ...]:
        """What the mapping holds."""
        return tuple(self._mapping)

    def has(self, key: str) -> bool:
        """Whether the mapping holds `key`."""
        return key in self._mapping

    def _take(self, key: str, *, required: bool) -> Any:  # noqa: ANN401 - a file holds anything
        self._taken.add(key)
        value = self._mapping.get(key)
        if value is None and required:
            self.problem(key, "missing, and required")
        return value

    def text(self, key: str, *, required: bool = False) -> str | None:
        """Take text that is not blank."""
        value = self._take(key, required=required)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            self.problem(key, f"{value!r} is no text, or blank")
            return None
        return value

    def choice(self, key: str, among: Iterable[str], *, required: bool = False) -> str | None:
        """Take one of the words `among`."""
        value = self.text(key, required=required)
        allowed = list(among)
        if value is not None and value not in allowed:
            self.problem(key, f"{value!r} is none of {', '.join(allowed)}")
            return None
        return value

    def number(
        self,
        key: str,
        *,
        required: bool = False,
        least: float | None = None,
        above: float | None = None,
        most: float | None = None,
    ) -> float | None:
        """Take a finite number, not below `least`, above `above`, not over `most`."""
        value = self._take(key, required=required)
        if value is None:
            return None
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not math.isfinite(value)
        ):
            self.problem(key, f"{value!r} is no number")
            return None
        if least is not None and value < least:
            self.problem(key, f"{value} is below {least}")
        if most is not None and value > most:
            self.problem(key, f"{value} is over {most:g}")
        if above is not None and value <= above:
            self.problem(key, f"{value} is not above {above}")
        return float(value)

    def whole(self, key: str, *, required: bool = False, least: int = 0) -> int | None:
        """Take a whole number, not below `least`."""
        value = self._take(key, required=required)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            self.problem(key, f"{value!r} is no whole number")
            return None
        if value < least:
            self.problem(key, f"{value} is below {least}")
        return value

    def numbers(self, key: str, *, required: bool = False, above: float = 0.0) -> tuple[float, ...]:
        """Take a list of numbers, each above `above`, ascending and without repeats."""
        value = self._take(key, required=required)
        if value is None:
            return ()
        if not isinstance(value, list) or not value:
            self.problem(key, f"{value!r} is no list of numbers")
            return ()
        good = [
            v for v in value if isinstance(v, int | float) and not isinstance(v, bool) and v > above
        ]
        if len(good) != len(value) or sorted(set(good)) != good:
            self.problem(key, f"{value!r} must be numbers above {above:g}, ascending, none twice")
            return ()
        return tuple(float(v) for v in good)

    def flag(self, key: str, *, default: bool) -> bool:
        """Take true or false."""
        value = self._take(key, required=False)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.problem(key, f"{value!r} is neither true nor false")
            return default
        return value

    def date(self, key: str, *, required: bool = False) -> dt.date | None:
        """Take a date, written without quotes as TOML writes it."""
        value = self._take(key, required=required)
        if value is None:
            return None
        if not isinstance(value, dt.date) or isinstance(value, dt.datetime):
            self.problem(key, f"{value!r} is no date; write 2024-01-31 without quotes")
            return None
        return value

    def time(self, key: str, *, required: bool = False) -> dt.time | None:
        """Take a time of day, written without quotes as TOML writes it."""
        value = self._take(key, required=required)
        if value is not None and not isinstance(value, dt.time):
            self.problem(key, f"{value!r} is no time of day; write 07:00:00 without quotes")
            return None
        return value

    def dates(self, key: str) -> tuple[dt.date, ...]:
        """Take a list of dates."""
        value = self._take(key, required=False)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(
            isinstance(entry, dt.date) and not isinstance(entry, dt.datetime) for entry in value
        ):
            self.problem(key, f"{value!r} is no list of dates; write [2024-01-31] without quotes")
            return ()
        return tuple(sorted(set(value)))

    def words(self, key: str) -> dict[str, str]:
        """Take a table of text by text."""
        value = self._take(key, required=False)
        if value is None:
            return {}
        if not isinstance(value, dict):
            self.problem(key, "must be a table")
            return {}
        for name, entry in value.items():
            if not isinstance(entry, str):
                self.problem(f"{key}.{name}", f"{entry!r} is no text")
        return {name: entry for name, entry in value.items() if isinstance(entry, str)}

    def texts(self, key: str) -> tuple[str, ...]:
        """Take a list of text."""
        value = self._take(key, required=False)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
            self.problem(key, f"{value!r} is no list of text")
            return ()
        return tuple(value)

    def part(self, key: str, *, required: bool = False) -> SettingsReader:
        """Take a table; an empty one where it is missing."""
        value = self._take(key, required=required)
        if value is not None and not isinstance(value, dict):
            self.problem(key, "must be a table")
            value = None
        return self._part(value or {}, f"{self._address}.{key}")

    def parts(self, key: str, *, required: bool = False) -> list[SettingsReader]:
        """Take a list of tables."""
        value = self._take(key, required=required)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            self.problem(key, f"must be a list of tables, each under [[{key}]]")
            return []
        return [self._part(v, f"{self._address}.{key}[{i}]") for i, v in enumerate(value)]

    def _part(self, mapping: Mapping[str, Any], address: str) -> SettingsReader:
        reader = SettingsReader(mapping, self._name, address=address, problems=self.problems)
        self._parts.append(reader)
        return reader

    def _refuse_unknown(self) -> None:
        for key in self._mapping:
            if key not in self._taken:
                near = process.extractOne(
                    key, sorted(self._taken), scorer=fuzz.ratio, score_cutoff=70
                )
                hint = f"did you mean `{near[0]}`?" if near else "known here: "
                known = "" if near else ", ".join(sorted(self._taken))
                self.problem(key, f"unknown key; {hint}{known}")
        for part in self._parts:
            part._refuse_unknown()

    def finish(self) -> None:
        """
        Tell every problem, or do nothing where there is none.

        Raises
        ------
        SettingsError
            With all problems, each with its address.
        """
        self._refuse_unknown()
        if self.problems:
            count = len(self.problems)
            raise SettingsError(
                f"{self._name} has {count} problem{'s' if count > 1 else ''}",
                found=("\n" + " " * 12).join(self.problems),
                do="correct the file; nothing of it was used",
            )
