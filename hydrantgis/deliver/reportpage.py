"""
A report as one HTML file: no script, no link, nothing that is fetched.
"""

from __future__ import annotations

import base64
from functools import cache
from html import escape
from importlib import resources
from typing import TYPE_CHECKING, assert_never

from hydrantgis.deliver.policy import policy_tag
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
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from hydrantgis.deliver.reportblocks import Block, Pages


@cache
def _style() -> str:
    place = resources.files("hydrantgis.deliver") / "assets" / "report.css"
    return place.read_text(encoding="utf-8")


def write_page(path: Path, pages: Pages) -> None:
    """
    Write a report as HTML.

    Parameters
    ----------
    path
        The file; replaced as a whole.
    pages
        The report. All of its text is shown as it is typed.
    """
    with replacing(path) as fresh:
        fresh.write_text(page_of(pages), encoding="utf-8", newline="\n")


def page_of(pages: Pages) -> str:
    """
    A report as HTML.

    Parameters
    ----------
    pages
        The report.
    """
    under = "".join(f"<p>{_text(line)}</p>" for line in pages.under)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"{policy_tag()}\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_text(pages.title)}</title>\n<style>\n{_style()}</style>\n</head>\n<body>\n"
        f"<header><h1>{_text(pages.title)}</h1>{under}</header>\n<main>\n"
        f"{_all(pages.blocks)}\n</main>\n<footer>{_text(pages.foot)}</footer>\n</body>\n</html>\n"
    )


def _text(text: str) -> str:
    return escape(shown(text), quote=True).replace("\n", "<br>")


def _all(blocks: Iterable[Block]) -> str:
    return "\n".join(_one(block) for block in blocks)


def _one(block: Block) -> str:
    if isinstance(block, Heading):
        return f"<h{block.level}>{_text(block.text)}</h{block.level}>"
    if isinstance(block, Words):
        return _note(block.text) if block.note else f"<p>{_text(block.text)}</p>"
    if isinstance(block, Cards):
        return _cards(block)
    if isinstance(block, Grid):
        return _grid(block)
    if isinstance(block, Chart):
        data = base64.b64encode(block.svg.encode()).decode("ascii")
        return (
            f"<figure>{_caption('figcaption', block.title)}"
            f'<img src="data:image/svg+xml;base64,{data}" alt="{_attribute(block.alt)}">'
            f"{_note(block.note)}</figure>"
        )
    if isinstance(block, Beside):
        share = round(100 * block.share)
        return (
            f'<div class="beside" style="--left: {share}fr; --right: {100 - share}fr">'
            f"<div>{_all(block.left)}</div><div>{_all(block.right)}</div></div>"
        )
    if isinstance(block, NewPage):
        return '<div class="page"></div>'
    assert_never(block)


def _attribute(text: str) -> str:
    return escape(shown(text), quote=True)


def _caption(tag: str, title: str) -> str:
    return f"<{tag}>{_text(title)}</{tag}>" if title else ""


def _note(text: str) -> str:
    return f'<p class="note">{_text(text)}</p>' if text else ""


def _cards(block: Cards) -> str:
    cards = "".join(
        f'<div class="card{" lead" if block.leads and k == 0 else ""}"><dt>{_text(card.label)}</dt>'
        f'<dd class="value">{_text(card.value)}</dd>'
        + (f'<dd class="note">{_text(card.note)}</dd>' if card.note else "")
        + "</div>"
        for k, card in enumerate(block.cards)
    )
    return f'<dl class="cards">{cards}</dl>'


def _grid(block: Grid) -> str:
    def cell(tag: str, k: int, text: str, more: str = "") -> str:
        side = ' class="right"' if k in block.right else ""
        return f"<{tag}{side}{more}>{_text(text)}</{tag}>"

    head = "".join(cell("th", k, text, ' scope="col"') for k, text in enumerate(block.heads))
    last, summed = len(block.rows) - 1, '<tr class="total">'
    body = "".join(
        f"{summed if block.total and k == last else '<tr>'}"
        + "".join(cell("td", place, text) for place, text in enumerate(row))
        + "</tr>"
        for k, row in enumerate(block.rows)
    )
    none = f'<tr><td colspan="{len(block.heads)}" class="none">none</td></tr>'
    return (
        f'<div class="table"><table>{_caption("caption", block.title)}'
        f"<thead><tr>{head}</tr></thead><tbody>{body or none}</tbody></table>"
        f"{_note(block.note)}</div>"
    )
