"""
The page that says what each file of a folder is, and for whom.

It stands in one file, asks for nothing, runs no script and links only to its own folder.
"""

from __future__ import annotations

import os
import unicodedata
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib import resources
from typing import TYPE_CHECKING
from urllib.parse import quote

from hydrantgis.deliver.outputs import GROUPS, OUTPUTS, Output, output_of, short_title
from hydrantgis.deliver.policy import policy_tag
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from hydrantgis.deliver.looks import MapWords

INDEX = "index.html"
"""Name of the page."""


@dataclass(frozen=True, slots=True)
class Entry:
    """
    A file of the folder.

    Attributes
    ----------
    name
        As the folder has it.
    size
        Bytes; None of what is no file.
    """

    name: str
    size: int | None


@cache
def _style() -> str:
    place = resources.files("hydrantgis.deliver") / "assets" / "indexpage.css"
    return place.read_text(encoding="utf-8")


def entries_of(folder: Path) -> list[Entry]:
    """
    All that lies in a folder, but the page itself and what a program left open beside a file.

    Parameters
    ----------
    folder
        Not looked into any deeper.
    """
    if not folder.is_dir():
        return []
    return [
        Entry(path.name, path.stat().st_size if path.is_file() else None)
        for path in sorted(folder.iterdir(), key=lambda path: os.fsencode(path.name))
        if path.name != INDEX and not _is_lock(path.name)
    ]


def _is_lock(name: str) -> bool:
    """
    Whether it is the lock of a file that this package writes.

    Examples
    --------
    >>> _is_lock(".register.gpkg.lock"), _is_lock("door.lock")
    (True, False)
    """
    return name.startswith(".") and name.endswith(".gpkg.lock")


def _shown(text: str) -> str:
    """The text for HTML; what has no shape of its own, or turns the line round, becomes a box."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    plain = "".join("\u25a1" if unicodedata.category(c)[0] == "C" else c for c in whole)
    return escape(plain)


def _address(name: str) -> str:
    """A link to a file of the folder, whatever its name holds."""
    return "./" + quote(os.fsencode(name), safe="")


def _size(size: int | None) -> str:
    """
    In words.

    Examples
    --------
    >>> _size(999), _size(54738), _size(925696)
    ('999 bytes', '55 kB', '926 kB')
    >>> _size(1), _size(12_345_678)
    ('1 byte', '12.3 MB')
    """
    if size is None:
        return "not a file"
    if size < 1000:
        return "1 byte" if size == 1 else f"{size} bytes"
    if size < 999_500:
        return f"{size / 1e3:.0f} kB"
    return f"{size / 1e6:,.1f} MB"


def _link(entry: Entry, text: str) -> str:
    return f'<a href="{escape(_address(entry.name))}"><bdi>{_shown(text)}</bdi></a>'


def _sum(entries: Sequence[Entry]) -> int:
    return sum(entry.size or 0 for entry in entries)


def _item(output: Output, entries: Sequence[Entry]) -> str:
    """One line: what it is, the link or links, the size."""
    if output.is_many:
        links = ", ".join(_link(entry, short_title(entry.name)) for entry in entries)
        name = f'<span class="title">{_shown(output.title)}</span>'
        count = f"{len(entries):,} {'file' if len(entries) == 1 else 'files'}, "
        below = f'<p class="links">{links}</p>'
        file = f"<bdi>{_shown(output.pattern)}</bdi>"
    else:
        name = f'<span class="title">{_link(entries[0], output.title)}</span>'
        count, below, file = "", "", f"<bdi>{_shown(entries[0].name)}</bdi>"
    about = _shown(output.about)
    return (
        f'<li>{name}<span class="file">{file}</span>'
        f'<span class="size">{count}{_size(_sum(entries))}</span>'
        f'<p class="about">{about}</p>{below}</li>'
    )


def _unknown(entries: Sequence[Entry]) -> str:
    """Files that are none of ours, told as such."""
    if not entries:
        return ""
    lines = "".join(
        f'<li><span class="title">{_link(one, one.name) if one.size is not None else _bare(one)}'
        f'</span><span class="size">{_size(one.size)}</span></li>'
        for one in entries
    )
    return (
        '<section class="other"><h2>Not known to this program</h2>'
        f'<p class="whom">Also in the folder; written by something else.</p><ul>{lines}</ul>'
        "</section>"
    )


def _bare(entry: Entry) -> str:
    return f"<bdi>{_shown(entry.name)}</bdi>"


def index_page(
    entries: Sequence[Entry],
    *,
    words: MapWords,
    figures: Sequence[tuple[str, str]],
    share: str,
    moment: str,
) -> str:
    """
    The page.

    Parameters
    ----------
    entries
        All that lies in the folder.
    words
        Title, rule, source, date and cautions.
    figures
        Headline figures: what is counted, and how many.
    share
        One sentence on them.
    moment
        Of which day the register is.

    Returns
    -------
    html
        The same for the same files.
    """
    known: dict[Output, list[Entry]] = {}
    for entry in entries:
        output = output_of(entry.name) if entry.size is not None else None
        if output is not None:
            known.setdefault(output, []).append(entry)
    told = {entry.name for of in known.values() for entry in of}
    sections = []
    for group in GROUPS:
        items = "".join(_item(one, of) for one, of in _in_order(known) if one.group is group)
        if items:
            sections.append(
                f"<section><h2>{_shown(group.name)}</h2>"
                f'<p class="whom">{_shown(group.about)}</p><ul>{items}</ul></section>'
            )
    sections.append(_unknown([entry for entry in entries if entry.name not in told]))
    counted = "".join(f"<div><dt>{_shown(a)}</dt><dd>{_shown(b)}</dd></div>" for a, b in figures)
    facts = "".join(
        f"<div><dt>{a}</dt><dd>{_shown(b)}</dd></div>"
        for a, b in (
            ("Rule", words.rule), ("Source of the rule", words.citation),
            ("Newest reading", words.data_date), ("Register as of", moment),
        )
    )  # fmt: skip
    cautions = "".join(f"<p>{_shown(one)}</p>" for one in words.cautions)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"{policy_tag()}"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_shown(words.title)}: results</title><style>{_style()}</style></head>\n"
        f"<body><header><h1>{_shown(words.title)}</h1>"
        f'<p class="share">{_shown(share)}.</p><dl class="figures">{counted}</dl></header>\n'
        f"<main>{''.join(sections)}</main>\n"
        f'<footer><dl class="facts">{facts}</dl><div class="cautions">{cautions}</div></footer>'
        "</body></html>\n"
    )


def _in_order(known: dict[Output, list[Entry]]) -> list[tuple[Output, list[Entry]]]:
    """In the order of the declaration; the files of a line by what they are called."""
    return [
        (output, sorted(of, key=lambda entry: short_title(entry.name).casefold()))
        for output, of in sorted(known.items(), key=lambda item: OUTPUTS.index(item[0]))
    ]


def save_index(folder: Path, page: str) -> Path:
    """
    Write the page.

    Parameters
    ----------
    folder
        That it is of.
    page
        From `index_page`.
    """
    path = folder / INDEX
    with replacing(path) as fresh:
        fresh.write_text(page, encoding="utf-8", newline="\n")
    return path
