"""
Delimited text: every cell as text, so that an id `0012` stays `0012`.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from typing import TYPE_CHECKING

import pandas as pd
import pyarrow.compute as pc

from hydrantgis.ground.errors import UnreadableError, WordsError, some

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

_BLOCK = 16 << 20
"""A row may be as long as this; more is no row but a fault. [bytes]"""
_MOST_TOLD = 3
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def encoding_of(path: Path, said: str | None = None) -> str:
    """
    How a file's letters are written.

    As its mark says, else UTF-8 where all of it is, else Windows-1252.

    Raises
    ------
    WordsError
        There is no encoding of the name that is said.
    """
    if said is not None:
        try:
            return codecs.lookup(said).name
        except LookupError as error:
            raise WordsError(
                f"`{said}` is no encoding", accepted="utf-8, cp1252, latin-1, ..."
            ) from error
    with path.open("rb") as stream:
        head = stream.read(4)
        for mark, name in _MARKS:
            if head.startswith(mark):
                return name
        stream.seek(0)
        decoder = codecs.getincrementaldecoder("utf-8")()
        try:
            while block := stream.read(1 << 20):
                decoder.decode(block)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8"


def column_names(cells: Sequence[object], where: str) -> list[str]:
    """
    Headings as names: without blanks round them, one each, and made where there is none.

    Raises
    ------
    UnreadableError
        Two columns have one name.

    Examples
    --------
    >>> column_names([" HYD_NO ", None], "h.csv")
    ['HYD_NO', 'column 2']
    """
    names = [
        "" if cell is None else " ".join(str(cell).replace("\ufeff", "").split()) for cell in cells
    ]
    names = [name or f"column {place}" for place, name in enumerate(names, 1)]
    if len(set(names)) < len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise UnreadableError(
            "two columns of the table have one name", where=where, found=some(twice),
            do="give each column a name of its own",
        )  # fmt: skip
    return names


def without_blank_columns(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame without columns that have neither a heading nor a cell."""
    made = [n for n in frame.columns if re.fullmatch(r"column \d+", n) and frame[n].isna().all()]
    return frame.drop(columns=made)


def _delimiter(line: str) -> str:
    """The mark that stands most often outside quotes."""
    bare = re.sub(r'"[^"]*"', "", line)
    return max(",;\t|", key=bare.count)


def read_text_table(
    path: Path, *, encoding: str | None = None, header_row: int = 1
) -> tuple[pd.DataFrame, str]:
    """
    A delimited text file, every cell as text, blank cells missing.

    Parameters
    ----------
    path
        Comma, semicolon, tab or vertical bar between cells.
    encoding
        As `encoding_of` finds it where it is None.
    header_row
        The line that holds the names, from 1.

    Returns
    -------
    frame, encoding
        Index 1 to n.

    Raises
    ------
    UnreadableError
        Lines have unlike numbers of cells, a quote is not closed, a cell is larger than any cell
        can be, the letters are of another encoding, or the file is empty.
    """
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    said = None if encoding is None else encoding_of(path, encoding)
    _need_text(path, said)
    letters = said or encoding_of(path)
    names, delimiter, lines = _names(path, letters, header_row)
    uneven: list[str] = []

    def keep_count(row: arrow_csv.InvalidRow) -> str:
        if len(uneven) < _MOST_TOLD:
            uneven.append(
                f"row {row.number - lines if row.number else '?'}: {row.actual_columns} cells"
            )
        return "skip"

    try:
        table = arrow_csv.read_csv(
            path,
            read_options=arrow_csv.ReadOptions(
                encoding="utf8" if letters in ("utf-8", "utf-8-sig") else letters,
                block_size=_BLOCK,
                use_threads=False,  # rows are numbered in one thread alone
                column_names=[str(place) for place in range(len(names))],
                skip_rows=lines,
            ),
            parse_options=arrow_csv.ParseOptions(
                delimiter=delimiter, newlines_in_values=True, invalid_row_handler=keep_count
            ),
            convert_options=arrow_csv.ConvertOptions(
                column_types={str(place): pa.string() for place in range(len(names))},
                null_values=[""],
                strings_can_be_null=True,
            ),
        )
    except UnicodeError as error:
        raise _of_another_encoding(path, letters, error) from error
    except pa.ArrowInvalid as error:
        if "straddling" in str(error):
            raise UnreadableError(
                f"a row is longer than {_BLOCK >> 20} MB", where=path.name,
                found="an open quote, or a cell that holds a file",
                do="mend the row, or leave that column out",
            ) from error  # fmt: skip
        if "empty" in str(error).lower():
            return pd.DataFrame({name: pd.Series([], dtype="str") for name in names}), letters
        raise UnreadableError(
            "the file cannot be read as delimited text", where=path.name, found=str(error),
            do="open it in a spreadsheet program and save it again as CSV",
        ) from error  # fmt: skip
    if uneven:
        raise UnreadableError(
            "the lines of the file have unlike numbers of cells",
            where=path.name,
            found="; ".join(uneven) + f"; {len(names)} names",
            accepted=f"{len(names)} cells in each",
            do="mend the lines, or say --header-row N where the names stand further down, "
            "--order PNEZD where there are none",
        )
    if any(pc.any(pc.match_substring_regex(column, "[\r\n]")).as_py() for column in table.columns):
        _need_closed_quotes(path, letters, delimiter)
    frame: pd.DataFrame = table.rename_columns(names).to_pandas()
    for name in frame.columns:
        frame[name] = frame[name].astype("str")
    frame.index = pd.RangeIndex(1, len(frame) + 1)
    return without_blank_columns(frame), letters


def _need_text(path: Path, said: str | None) -> None:
    """Refuse bytes that no text holds, before all of a large file is read for its letters."""
    with path.open("rb") as stream:
        head = stream.read(_BLOCK)
    marked = head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    wide = marked if said is None else said.startswith(("utf-16", "utf-32"))
    if not wide and b"\x00" in head:
        raise UnreadableError(
            "the file holds bytes that are no text", where=path.name,
            found=f"a zero byte at {head.index(0):,}",
            do="save it again as text; say --encoding utf-16-le or utf-16-be where it is in one",
        )  # fmt: skip


def _names(path: Path, letters: str, header_row: int) -> tuple[list[str], str, int]:
    """The names, the mark between cells, and how many lines stand before the first row."""
    try:
        with path.open(encoding=letters, newline="") as stream:
            head = io.StringIO(stream.read(_BLOCK), newline="")
    except UnicodeError as error:
        raise _of_another_encoding(path, letters, error) from error
    before = header_row - 1
    for _ in range(before):
        head.readline()
    first = head.readline()
    while first and not first.strip("\r\n \ufeff"):
        before, first = before + 1, head.readline()
    if not first:
        raise UnreadableError(
            "the file is empty", where=path.name, accepted="names in a line, rows below",
            do="ask for the file again",
        )  # fmt: skip
    taken: list[str] = []

    def lines() -> Iterator[str]:
        line = first
        while line:
            taken.append(line)
            yield line
            line = head.readline()

    delimiter = _delimiter(first)
    try:
        raw = next(csv.reader(lines(), delimiter=delimiter))
    except csv.Error as error:
        raise _of_open_quote(path, "in the line of the names") from error
    if len(taken) > 1 and "".join(taken).count('"') % 2:  # one alone may stand for inches
        raise _of_open_quote(path, "in the line of the names")
    return column_names(raw, path.name), delimiter, before + len(taken)


def _need_closed_quotes(path: Path, letters: str, delimiter: str) -> None:
    """Refuse an open quote: all rows up to the next one would be one cell."""
    limit = csv.field_size_limit(_BLOCK)
    try:
        with path.open(encoding=letters, newline="") as stream:
            rows = csv.reader(stream, delimiter=delimiter, strict=True)
            whole = 0
            try:
                for _ in rows:
                    whole = rows.line_num
            except csv.Error as error:
                raise _of_open_quote(path, f"in the row from line {whole + 1:,} on") from error
    finally:
        csv.field_size_limit(limit)


def _of_open_quote(path: Path, found: str) -> UnreadableError:
    return UnreadableError(
        "a quote is not closed, or text stands behind a closed one", where=path.name, found=found,
        do="mend the row; a quote inside quotes is written twice",
    )  # fmt: skip


def _of_another_encoding(path: Path, letters: str, error: Exception) -> UnreadableError:
    return UnreadableError(
        f"the file is not written in {letters}", where=path.name, found=str(error)[:120],
        do="say --encoding NAME",
    )  # fmt: skip
