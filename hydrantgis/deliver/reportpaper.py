"""
A report as PDF: the same blocks as the HTML, set for paper, with tags for reading aloud.
"""

from __future__ import annotations

import re
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, assert_never

from hydrantgis.deliver.reportblocks import (
    Beside,
    Cards,
    Chart,
    Grid,
    Heading,
    NewPage,
    Words,
    shown,
)
from hydrantgis.deliver.typeset import typeset
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from hydrantgis.deliver.reportblocks import Block, Pages

_LONG_WORD = re.compile(r"(\S{18})(?=\S{4})")
_LINE, _INSET, _LETTER = 525.0, 7.0, 0.62
"""Width of a page and of what stands left and right of a cell [points], and of a letter [em]."""
_LONG, _ENOUGH = 14, 24
"""A text so long takes what room there is, and needs at least that of so many letters."""
_MAY_BREAK = "\u200b"


def write_paper(path: Path, pages: Pages, *, moment: dt.datetime) -> None:
    """
    Write a report as PDF.

    Parameters
    ----------
    path
        The file; replaced as a whole.
    pages
        The report. All of its text is shown as it is typed.
    moment
        UTC, the time of the data; the file's day.
    """
    data = {
        "title": _text(pages.title), "under": [_text(line) for line in pages.under],
        "foot": _text(pages.foot), "blocks": [_one(block) for block in pages.blocks],
    }  # fmt: skip
    pdf = typeset("paper", "report", data=data, moment=moment, tags=True)
    with replacing(path) as fresh:
        fresh.write_bytes(pdf)


def _text(text: str) -> str:
    """Text that can be broken where a word is longer than a column is wide."""
    return _LONG_WORD.sub(rf"\1{_MAY_BREAK}", shown(text))


def _size(block: Grid) -> float:
    """Of the letters of a table. [points]"""
    many = len(block.heads)
    return 6.2 if many > 12 else 6.8 if many > 9 else 7.3


def _wide(block: Grid) -> int | None:
    """The column of the longest texts, which takes the room that others leave; none where short."""
    letter = _LETTER * _size(block)
    lengths = [
        max(len(line) for cell in column for line in cell.split("\n"))
        for column in zip(block.heads, *block.rows, strict=True)
    ]
    texts = [k for k in range(len(lengths)) if k not in block.right]
    wide = max(texts, key=lambda k: lengths[k], default=0)
    if not texts or lengths[wide] < _LONG:
        return None
    others = sum(letter * n + _INSET for k, n in enumerate(lengths) if k != wide)
    return wide if _LINE - others - _INSET > letter * min(lengths[wide], _ENOUGH) else None


def _one(block: Block) -> dict[str, Any]:
    """A block as the template reads it."""
    kind = type(block).__name__.lower()
    if isinstance(block, Heading | Words):
        return {"kind": kind, **asdict(block), "text": _text(block.text)}
    if isinstance(block, Cards):
        cards = [{name: _text(told) for name, told in asdict(card).items()} for card in block.cards]
        return {"kind": kind, "leads": block.leads, "cards": cards}
    if isinstance(block, Grid):
        rows = [[_text(cell) for cell in row] for row in block.rows]
        heads = [_text(head) for head in block.heads]
        return {
            "kind": kind, "title": _text(block.title), "heads": heads, "rows": rows,
            "right": sorted(block.right), "total": block.total, "note": _text(block.note),
            "size": _size(block), "wide": _wide(block),
        }  # fmt: skip
    if isinstance(block, Chart):
        return {
            "kind": kind, "title": _text(block.title), "svg": block.svg, "alt": shown(block.alt),
            "note": _text(block.note),
        }  # fmt: skip
    if isinstance(block, Beside):
        return {
            "kind": kind, "left": [_one(part) for part in block.left],
            "right": [_one(part) for part in block.right], "share": block.share,
        }  # fmt: skip
    if isinstance(block, NewPage):
        return {"kind": kind}
    assert_never(block)
