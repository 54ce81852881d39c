"""
Point files of surveyors: a line a point, of name, northing, easting, elevation and description.

The order of northing and easting cannot be told from two columns of numbers, and is never guessed:
a header names the columns, or the user says a word such as `PNEZD`. What might be meant is told
where neither does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from hydrantgis.ground.errors import CountError, SourceError, UnreadableError, WordsError, some
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.intake.crs import LEAST_SHARE_INSIDE, inside_area
from hydrantgis.intake.texts import encoding_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pyproj

POINT_COLUMNS = ("point_id", "northing", "easting", "elevation", "description")
LETTERS = {
    "P": "point_id", "N": "northing", "Y": "northing", "E": "easting", "X": "easting",
    "Z": "elevation", "D": "description",
}  # fmt: skip
"""What the letters of an order stand for; `-` and `*` stand for a column that is left out."""
COMMENTS = ("#", "//")
"""How lines begin that are not meant as points."""
DELIMITERS = {
    "tab": "\t", "comma": ",", "semicolon": ";", "bar": "|", "blank": " ",
}  # fmt: skip
"""Marks between cells by name; where several would do, the first does."""

_SKIPPED = "-*"
_NAMES = {
    "P": (
        "p", "pt", "pnt", "point", "pointid", "pointno", "pointnumber", "pointname", "ptid", "ptno",
        "pno", "ptnum", "ptnumber", "ptname", "pointnum", "id", "no", "number", "name", "nr",
    ),
    "N": ("n", "y", "north", "northing", "northings", "ycoord", "pointy", "nord"),
    "E": ("e", "x", "east", "easting", "eastings", "xcoord", "pointx"),
    "Z": ("z", "el", "elev", "elevation", "height", "h", "zcoord", "pointz", "level"),
    "D": (
        "d", "desc", "descr", "description", "code", "fieldcode", "rawdescription", "rawdesc",
        "remark", "remarks", "note", "notes", "comment",
    ),
}  # fmt: skip
_UNITS_BEHIND = re.compile(r"[(\[].*?[)\]]|[ _-](?:us[ _]?ft|ft|feet|m|meters?|metres?)$")
_SAMPLE = 2_000
_NUMBER = {
    ".": r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$",
    ",": r"^[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?$",
}
_MOSTLY = 0.95


@dataclass(frozen=True, slots=True)
class PointFile:
    """
    The points of a file.

    Attributes
    ----------
    points
        Columns `POINT_COLUMNS`: coordinates as they stand in the file; index the line in it.
    rejected
        The rest, with columns `text` and `reason`; same kind of index.
    order, delimiter
        By which the lines were read.
    header
        The line of names; None where there is none.
    findings
        Of table `shots`.
    lines, blank, comments
        All lines, those that hold nothing, and those that are comments. The lines are the points,
        the rejected, the blank, the comments and the header.
    """

    points: pd.DataFrame
    rejected: pd.DataFrame
    order: str
    delimiter: str
    header: str | None
    findings: pd.DataFrame
    lines: int
    blank: int
    comments: int

    def __post_init__(self) -> None:
        told = len(self.points) + len(self.rejected) + self.blank + self.comments
        if self.lines != told + (self.header is not None):
            raise CountError(f"{self.lines:,} lines do not add up")


def read_point_file(
    path: Path,
    *,
    order: str | None = None,
    delimiter: str | None = None,
    header: bool | None = None,
    decimal: str = ".",
    encoding: str | None = None,
    comments: Sequence[str] = COMMENTS,
    crs: pyproj.CRS | None = None,
) -> PointFile:
    """
    Read a point file.

    Parameters
    ----------
    path
        Delimited text.
    order
        What the columns are, a letter of `LETTERS` each, such as `PNEZD`; by the names of the
        header where it is None. A last column `D`, or one left out, takes the rest of the line.
    delimiter
        A mark, or its name in `DELIMITERS`; found where it is None. Blanks count as one.
    header
        Whether the first line holds names; where it is None it does if no number stands in it.
    decimal
        `.` or `,`.
    encoding
        As `encoding_of` finds it where it is None.
    comments
        How lines begin that are not read; their number is told.
    crs
        Says which orders would put the points where it is used, for the message where there is
        neither order nor header.

    Returns
    -------
    file
        Lines are rejected that have too few or too many cells, or a coordinate that is no number.
        An elevation may be missing, but not be something else.

    Raises
    ------
    WordsError
        The order or the delimiter is none.
    SourceError
        Nothing says which column is which, or what stands between them.
    UnreadableError
        The file is not there, empty, or no text.
    """
    if decimal not in _NUMBER:
        raise WordsError(f"`{decimal}` is no decimal mark", accepted=". or ,")
    letters = None if order is None else _checked(order)
    lines = _lines(path, encoding)
    number = np.arange(1, len(lines) + 1)
    trimmed = pc.utf8_trim_whitespace(lines)
    blank = pc.equal(trimmed, "")
    comment = pa.array(np.zeros(len(lines), dtype=bool))
    for mark in comments:
        comment = pc.or_(comment, pc.starts_with(trimmed, mark))
    held = pc.invert(pc.or_(blank, comment))
    rows, number = lines.filter(held), number[held.to_numpy(zero_copy_only=False)]
    if not len(rows):
        raise UnreadableError(
            "the file holds no points", where=path.name,
            found=f"{len(lines):,} lines, {pc.sum(comment).as_py() or 0:,} of them comments",
            do="ask for the file again",
        )  # fmt: skip
    mark = _delimiter(rows.slice(0, _SAMPLE), delimiter, decimal, path.name)
    first = _cells(rows.slice(0, 1), mark).to_pylist()[0]
    named = (
        not _is_number(_bare(pa.array(first, pa.large_string())), decimal).to_pylist().count(True)
    )
    top = None
    if header or (header is None and named):
        top, rows, number = rows[0].as_py(), rows.slice(1), number[1:]
        letters = letters or _order_of(first, path.name)
    if letters is None:
        raise _ask_for_order(rows.slice(0, _SAMPLE), mark, decimal, crs, path.name)
    points, reason = _read(rows, letters, mark, decimal)
    points.index = reason.index = pd.Index(number, name="line")
    bad = reason.notna()
    text = rows.filter(pa.array(bad.to_numpy())).to_pandas().astype("str").to_numpy()
    rejected = pd.DataFrame({"text": text, "reason": reason[bad]}, dtype="str")
    noticed = findings(
        "line-unreadable", table="shots", keys=rejected.index, values=rejected["text"],
        messages=rejected["reason"],
    )  # fmt: skip
    return PointFile(
        points=points[~bad],
        rejected=rejected,
        order=letters,
        delimiter=mark,
        header=top,
        findings=join_findings(noticed, _of_comments(lines.filter(comment))),
        lines=len(lines),
        blank=pc.sum(blank).as_py() or 0,
        comments=pc.sum(comment).as_py() or 0,
    )


def _of_comments(left_out: pa.Array) -> pd.DataFrame:
    if not len(left_out):
        return no_findings()
    return findings(
        "comments-left-out", table="shots", keys=["(several)"], values=[left_out[0].as_py()],
        messages=f"{len(left_out):,} lines that begin like a comment were not read",
    )  # fmt: skip


def _checked(order: str) -> str:
    """The order in capitals, X and Y as E and N."""
    letters = order.strip().upper()
    columns = [LETTERS[letter] for letter in letters if letter in LETTERS]
    wrong = [letter for letter in letters if letter not in LETTERS and letter not in _SKIPPED]
    if wrong or len(set(columns)) < len(columns) or not {"northing", "easting"} <= set(columns):
        raise WordsError(
            f"`{order}` is no order of columns",
            accepted="a letter a column: P point, N or Y northing, E or X easting, Z elevation, "
            "D description, - or * a column that is left out; N and E are needed, each once",
            do="say it in the order of the file, for example PNEZD",
        )
    return letters.replace("X", "E").replace("Y", "N").replace("*", "-")


def _lines(path: Path, encoding: str | None) -> pa.Array:
    try:
        letters = encoding_of(path, encoding)
        raw = path.read_bytes()
    except OSError as error:
        raise UnreadableError(
            "the file cannot be opened", where=path.name, found=error.strerror
        ) from error
    if b"\x00" in raw and not letters.startswith(("utf-16", "utf-32")):
        raise UnreadableError(
            "the file holds bytes that are no text", where=path.name,
            found=f"a zero byte at {raw.index(0):,}", do="save it again as text",
        )  # fmt: skip
    try:
        text = raw.decode(letters).removeprefix("\ufeff")
    except UnicodeError as error:
        raise UnreadableError(
            f"the file is not written in {letters}", where=path.name, found=str(error)[:120],
            do="say --encoding NAME",
        ) from error  # fmt: skip
    text = text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n")
    whole = pa.array([text] if text else [], pa.large_string())
    return pc.split_pattern(whole, "\n").flatten()


def _cells(rows: pa.Array, mark: str, most: int | None = None) -> pa.Array:
    """The cells of each line, a list each; the last of `most` holds the rest of the line."""
    splits = None if most is None else most - 1
    if mark == " ":
        return pc.utf8_split_whitespace(pc.utf8_trim_whitespace(rows), max_splits=splits)
    return pc.split_pattern(rows, mark, max_splits=splits)


def _bare(cells: pa.Array) -> pa.Array:
    """Cells without blanks, and quotes, round them; missing where nothing is left."""
    trimmed = pc.utf8_trim_whitespace(cells)
    if pc.any(pc.starts_with(trimmed, '"')).as_py():
        whole = pc.match_substring_regex(trimmed, '^"(?:[^"]|"")*"$')
        inner = pc.replace_substring(pc.utf8_slice_codeunits(trimmed, 1, -1), '""', '"')
        trimmed = pc.utf8_trim_whitespace(pc.if_else(whole, inner, trimmed))
    return pc.if_else(pc.equal(trimmed, ""), None, trimmed)


def _is_number(cells: pa.Array, decimal: str) -> pa.Array:
    return pc.fill_null(pc.match_substring_regex(cells, _NUMBER[decimal]), False)


def _numbers(bare: pa.Array, decimal: str) -> pd.Series:
    """
    Numbers, missing where a cell is none, index 0 to n-1.

    No mark of thousands is read: an elevation of `12,345` is as likely one of 12.
    """
    plain = pc.replace_substring_regex(bare, r"^\+", "")
    plain = pc.replace_substring(plain, decimal, ".")
    values = pc.cast(pc.if_else(_is_number(bare, decimal), plain, None), pa.float64())
    numbers = values.to_numpy(zero_copy_only=False)
    return pd.Series(np.where(np.isfinite(numbers), numbers, np.nan))


def _delimiter(sample: pa.Array, said: str | None, decimal: str, where: str) -> str:
    """The mark that is said, else the first that makes the most numbers of most lines."""
    if said is not None:
        mark = DELIMITERS.get(said, said)
        if len(mark) != 1 or mark in (decimal, '"') or mark.isalnum():
            raise WordsError(
                f"`{said}` can be no mark between cells",
                accepted=f"{', '.join(DELIMITERS)}, or one mark other than the decimal one",
            )
        return mark
    found = {}
    for mark in DELIMITERS.values():
        if mark == decimal:
            continue
        cells = _cells(sample, mark)
        many = np.bincount(
            pc.list_parent_indices(cells).to_numpy(),
            weights=_is_number(_bare(pc.list_flatten(cells)), decimal).to_numpy(
                zero_copy_only=False
            ),
            minlength=len(sample),
        )
        found[mark] = float(np.median(many))
    best = max(found, key=lambda mark: found[mark])
    if found[best] < 2:
        raise SourceError(
            "no mark between the cells makes numbers of them", where=where,
            found=f"`{sample[min(1, len(sample) - 1)].as_py()[:80]}`",
            accepted=f"{', '.join(DELIMITERS)} between two numbers or more",
            do="say which mark it is, and decimal `,` where that is what marks decimals",
        )  # fmt: skip
    return best


def _order_of(names: list[str], where: str) -> str:
    """The order that the names of a header tell."""
    letters = ""
    for name in names:
        bare = _UNITS_BEHIND.sub("", name.strip().strip('"').strip().lower())
        bare = re.sub(r"[^a-z]", "", bare)
        letters += next((letter for letter, known in _NAMES.items() if bare in known), "-")
    twice = [letter for letter in _NAMES if letters.count(letter) > 1]
    if twice or "N" not in letters or "E" not in letters:
        raise SourceError(
            "the names of the first line do not tell which column is which", where=where,
            found=some([name.strip() for name in names], 8),
            accepted="one name for each, such as point, northing, easting, elevation, description",
            do="say the order of the columns, for example PNEZD",
        )  # fmt: skip
    return letters


def _read(rows: pa.Array, letters: str, mark: str, decimal: str) -> tuple[pd.DataFrame, pd.Series]:
    """The columns, and why a line is none; index 0 to n-1."""
    n, width = len(rows), len(letters)
    takes_rest = letters[-1] in "D-"
    cells = _cells(rows, mark, width if takes_rest else width + 1)
    size = pc.list_value_length(cells).to_numpy(zero_copy_only=False)
    flat, starts = pc.list_flatten(cells), np.cumsum(size) - size
    # what the last column may lack: a line without a description ends early
    least = len(letters.rstrip("D-"))
    reason = np.full(n, None, dtype=object)
    columns: dict[str, pd.Series] = {}
    for place, letter in enumerate(letters):
        bare = _bare(flat.take(pa.array(starts + place, mask=size <= place)))
        if letter in LETTERS:
            name = LETTERS[letter]
            columns[name] = bare.to_pandas().astype("str")
        if letter in "NEZ":
            columns[name] = _numbers(bare, decimal)
            needed = bare.is_valid().to_numpy(zero_copy_only=False) | (letter != "Z")
            reason[needed & columns[name].isna().to_numpy()] = f"the {name} is no number"
        if place + 1 < width:
            cut = pc.fill_null(pc.starts_with(bare, '"'), False).to_numpy(zero_copy_only=False)
            reason[cut] = "a mark between cells stands inside quotes"
    reason[size < least] = f"fewer than {least} cells"
    if not takes_rest:
        beyond = np.flatnonzero(size > width)
        rest = pc.utf8_trim(flat.take(pa.array(starts[beyond] + width)), mark + " \t")
        full = pc.not_equal(rest, "").to_numpy(zero_copy_only=False)
        reason[beyond[full]] = f"more than {width} cells"
    absent = {name: pd.Series(None, index=pd.RangeIndex(n), dtype="str") for name in POINT_COLUMNS}
    absent["elevation"] = pd.Series(np.nan, index=pd.RangeIndex(n))
    frame = pd.DataFrame({**absent, **columns})[list(POINT_COLUMNS)]
    return frame, pd.Series(reason, index=frame.index, dtype="str")


def _ask_for_order(
    sample: pa.Array, mark: str, decimal: str, crs: pyproj.CRS | None, where: str
) -> SourceError:
    """The error that asks for the order, with what may be meant."""
    lists = _cells(sample, mark)
    width = int(np.median(pc.list_value_length(lists).to_numpy()))
    cut = [(*cells, *[None] * width)[:width] for cells in lists.to_pylist()]
    read: dict[int, pd.Series] = {}
    for place in range(width):
        column = _bare(pa.array([cells[place] for cells in cut], pa.large_string()))
        values = _numbers(column, decimal)
        if values.notna().mean() >= _MOSTLY:
            read[place] = values
    told = [
        f"column {place + 1}: {values.min():,.3f} to {values.max():,.3f}"
        for place, values in read.items()
    ]
    fits = _likely(read, width, crs)
    if crs is None:
        do = "say the order of the columns, for example PNEZD; a CRS helps to tell which fits"
    elif fits:
        do = "ask whoever made the file, and say the order of the columns"
    else:
        do = f"check the CRS: no order puts the points where {crs.name} is used"
    return SourceError(
        "nothing says which column is northing and which is easting", where=where,
        found="; ".join(told) or f"{width} columns without numbers",
        accepted=(f"may be: {some(fits, 6)}" if fits else "a header, or an order"),
        do=do,
    )  # fmt: skip


def _likely(read: dict[int, pd.Series], width: int, crs: pyproj.CRS | None) -> list[str]:
    """Orders that may be meant: northing and easting beside each other, and inside the CRS."""
    # coordinates are larger than elevations, and than numbers that points are counted with
    size = {place: float(values.abs().median()) for place, values in read.items()}
    pairs = [place for place in read if place + 1 in read]
    orders = []
    for place in sorted(pairs, key=lambda at: -min(size[at], size[at + 1])):
        for north, east in ((place, place + 1), (place + 1, place)):
            if crs is not None:
                points = np.column_stack((read[east], read[north]))
                points = points[np.isfinite(points).all(axis=1)]
                if inside_area(points, crs).mean() < LEAST_SHARE_INSIDE:
                    continue
            letters = ["-"] * width
            letters[north], letters[east] = "N", "E"
            if place == 1:
                letters[0] = "P"
            if place + 2 in read:
                letters[place + 2] = "Z"
            if width > place + 3:
                letters[place + 3 :] = ["D"]
            orders.append("".join(letters))
    return orders
