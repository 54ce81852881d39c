"""
Text of sources as it may stand on a page: nothing in it steers, hides or runs out of its box.
"""

from __future__ import annotations

import re
import unicodedata

_KEPT = "\u200c\u200d"
"""Joiners, which some scripts cannot be written without."""
_LONG_RUN = 16
_BREAK = "\u200b"


def inert(text: object, most: int = 240) -> str:
    """
    One line of text of at most so many letters, without controls and marks that turn it round.

    Examples
    --------
    >>> inert("a" + chr(0x202E) + "b" + chr(10) + " c"), inert("abcdef", most=4)
    ('a b c', 'abc…')
    """
    plain = "".join(
        letter if letter in _KEPT or unicodedata.category(letter)[0] != "C" else " "
        for letter in unicodedata.normalize("NFC", str(text))
    )
    line = " ".join(plain.split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def breakable(text: object, most: int = 240) -> str:
    """
    The same, and a run without a blank may break, so that it stays within its box.

    Examples
    --------
    >>> len(breakable("x" * 40)) - 40
    2
    """
    return re.sub(rf"(\S{{{_LONG_RUN}}})(?=\S)", rf"\1{_BREAK}", inert(text, most))
