"""
The planner's workbook that comes back: what was filled in, told against what was sent.

Rows are known by their hydrant, never by their place. Nothing is lost: what cannot be taken as it
stands is an entry with a problem, and so is a row that is gone.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from hydrantgis.ground.errors import SourceError, UnreadableError, some
from hydrantgis.ground.plannerbook import (
    BOOK_FORMAT,
    CREWS_AT,
    FACTS,
    HEADINGS,
    HYDRANT_HEADING,
    JOBS_SHEET,
    SENT_FROM,
    SENT_SHEET,
    WEEKS_AT,
)
from hydrantgis.ground.seasons import DECISIONS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

ENTRY_COLUMNS = ("row", "hydrant_id", "entry", "value", "was", "problem")
ROW_ENTRY = "row"
"""The entry of a row that is gone, or that is of no hydrant that was sent."""

_GONE = "the row is gone from the sheet; nothing is taken from that"
_NO_COLUMN = "the column is gone from the sheet; nothing is taken from that"
_NOT_SENT = "the hydrant was not in the workbook as it was sent"
_NO_HYDRANT = "the row has no hydrant"
_UNCOMPUTED = "a formula that was never computed; save the workbook in a spreadsheet program"
_SAVE = "open it in a spreadsheet program and save it as XLSX"
_WEEK = re.compile(
    r"(?:(?P<year>\d{4})\s*[-/ ]?\s*)?(?:w(?:ee)?k?\.?\s*)?(?P<week>\d{1,2})", re.IGNORECASE
)
_MIDNIGHT = dt.time()


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnedBook:
    """
    What a planner sent back.

    Attributes
    ----------
    fingerprint
        Of the plan that the workbook was made from.
    season_id
        Its season.
    entries
        One row for each cell that is not as it was sent, in the order of the sheet: `row`, its
        number there, from 1, missing where the row is gone; `hydrant_id`; `entry`, one of decision,
        crew, week and note, or `row`; `value`, missing where it was cleared; `was`, as sent,
        missing where it was blank; `problem`, missing where it can be taken.
    sent
        What stood in the workbook when it was sent: `hydrant_id`, `entry`, `was`.
    """

    fingerprint: str
    season_id: str
    entries: pd.DataFrame
    sent: pd.DataFrame

    def standing(self) -> pd.DataFrame:
        """
        Every entry that stands in the workbook, changed or not.

        Returns
        -------
        standing
            Like `entries`, with those that are as they were sent, whose `row` is missing. What was
            sent stands too where its row or column is gone.
        """
        keys = ["hydrant_id", "entry"]
        gone = self.entries["problem"].isin([_GONE, _NO_COLUMN])
        changed = pd.MultiIndex.from_frame(self.entries.loc[~gone, keys])
        kept = self.sent[~pd.MultiIndex.from_frame(self.sent[keys]).isin(changed)]
        kept = kept.assign(row=None, value=kept["was"], problem=None)
        frames = [frame for frame in (kept, self.entries) if len(frame)]
        if not frames:
            return self.entries
        told = pd.concat([frame.astype("object") for frame in frames], ignore_index=True)
        return told[list(ENTRY_COLUMNS)].astype({"row": "Int64"})


@dataclass(frozen=True, slots=True)
class _Sent:
    """The hidden sheet."""

    fingerprint: str
    season_id: str
    was: pd.DataFrame
    crews: tuple[str, ...]
    weeks: tuple[str, ...]


def read_plannerbook(path: Path) -> ReturnedBook:
    """
    Read a workbook that was written by `hydrantgis plan` and filled in.

    Parameters
    ----------
    path
        An XLSX workbook (ISO/IEC 29500), saved by any spreadsheet program.

    Returns
    -------
    returned
        Every cell of the planner that is not as it was sent.

    Raises
    ------
    UnreadableError
        It is missing, or no workbook.
    SourceError
        It has no sheet of the jobs, no headings, or not what was sent.
    """
    book = _opened(path, values=False)
    try:
        if JOBS_SHEET not in book.sheetnames:
            raise SourceError(
                f"the workbook has no sheet `{JOBS_SHEET}`", where=path.name,
                found=f"sheets {some(book.sheetnames)}", do="send back the workbook of the plan",
            )  # fmt: skip
        sent = _sent(book, path.name)
        cells = _cells(book[JOBS_SHEET], path.name)
    finally:
        book.close()
    if (cells["cell"].map(lambda cell: cell.formula)).any():
        cells = _computed(cells, path)
    return ReturnedBook(
        fingerprint=sent.fingerprint, season_id=sent.season_id, entries=_entries(cells, sent),
        sent=_long(sent.was).query("was != ''").reset_index(drop=True),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Cell:
    """What stands in a cell, as text; whether it is a date or a formula; what is wrong with it."""

    text: str = ""
    is_date: bool = False
    formula: bool = False
    problem: str | None = None


def _opened(path: Path, *, values: bool) -> Any:  # noqa: ANN401 - openpyxl has no types
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and lists that openpyxl leaves out
            # bytes, because a name that does not end in .xlsx would be refused
            return openpyxl.load_workbook(
                io.BytesIO(path.read_bytes()), read_only=True, data_only=values
            )
    except FileNotFoundError as error:
        raise UnreadableError(
            "there is no such file", where=str(path), do="name the workbook that came back"
        ) from error
    except Exception as error:  # a damaged workbook fails in many ways inside openpyxl
        raise UnreadableError(
            "the file is no workbook that can be read", where=path.name,
            found=f"{type(error).__name__}: {error}", accepted="XLSX without a password", do=_SAVE,
        ) from error  # fmt: skip


def _rows(sheet: Any) -> Any:  # noqa: ANN401
    sheet.reset_dimensions()  # what a sheet says of its own size is not always so
    return sheet.iter_rows()


def _told(cell: Any) -> _Cell:  # noqa: ANN401
    """A cell as its reader sees it."""
    value = cell.value
    if value is None:
        return _Cell()
    if cell.data_type == "f":
        return _Cell(str(value), formula=True)
    if cell.data_type == "e":
        return _Cell(str(value), problem="an error stands there")
    if isinstance(value, bool):
        return _Cell("TRUE" if value else "FALSE")
    if isinstance(value, dt.datetime):
        text = value.date().isoformat() if value.time() == _MIDNIGHT else value.isoformat(" ")
        return _Cell(text, is_date=True)
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return _Cell(str(value).replace("\r\n", "\n").replace("_x000D_", "").strip())


def _plain(cell: Any) -> str:  # noqa: ANN401
    return " ".join(_told(cell).text.split()).casefold()


def _sent(book: Any, where: str) -> _Sent:  # noqa: ANN401
    """What the workbook held when it was sent."""
    do = "take the workbook of the plan again and copy what was filled in into its sheet Jobs"
    if SENT_SHEET not in book.sheetnames:
        raise SourceError(
            f"the workbook has lost its hidden sheet `{SENT_SHEET}`: what was changed cannot be "
            "told from what was sent", where=where, found=f"sheets {some(book.sheetnames)}", do=do,
        )  # fmt: skip
    rows = [[_told(cell).text for cell in row] for row in _rows(book[SENT_SHEET])]
    wide = [row + [""] * (WEEKS_AT + 1 - len(row)) for row in rows]
    facts = {row[0]: row[1] for row in wide[: len(FACTS)]}
    if facts.get("format") != BOOK_FORMAT or not set(FACTS) <= set(facts):
        raise SourceError(
            f"the hidden sheet `{SENT_SHEET}` is of no known format", where=where,
            found=facts.get("format") or "none", accepted=BOOK_FORMAT, do=do,
        )  # fmt: skip
    body = [row for row in wide[1:] if row[SENT_FROM]]
    ends = SENT_FROM + 1 + len(HEADINGS)
    was = pd.DataFrame(
        [row[SENT_FROM + 1 : ends] for row in body], columns=list(HEADINGS), dtype="str",
        index=pd.Index([row[SENT_FROM] for row in body], dtype="str", name="hydrant_id"),
    )  # fmt: skip
    return _Sent(
        facts["fingerprint"], facts["season_id"], was,
        tuple(row[CREWS_AT] for row in wide[1:] if row[CREWS_AT]),
        tuple(row[WEEKS_AT] for row in wide[1:] if row[WEEKS_AT]),
    )  # fmt: skip


def _cells(sheet: Any, where: str) -> pd.DataFrame:  # noqa: ANN401
    """
    What the planner fills in, a row a cell.

    Returns
    -------
    cells
        `row`, `place` of the column, `hydrant_id`, `entry`, `cell`; and `has`, the entries that
        have a column, in `attrs`.
    """
    entry_of = {heading.casefold(): entry for entry, heading in HEADINGS.items()}
    places: dict[str, int] = {}
    made: list[tuple[int, int, str, str, _Cell]] = []
    for number, row in enumerate(_rows(sheet), start=1):
        if not places:
            heads = [_plain(cell) for cell in row]
            known = [head for head in heads if head in entry_of]
            if HYDRANT_HEADING.casefold() not in heads or not known:
                continue
            _once([*known, *(h for h in heads if h == HYDRANT_HEADING.casefold())], where, number)
            places = {entry_of[head]: heads.index(head) for head in known}
            id_at = heads.index(HYDRANT_HEADING.casefold())
            continue
        hydrant = _told(row[id_at]).text if id_at < len(row) else ""
        made += [
            (number, at, hydrant, entry, _told(row[at]) if at < len(row) else _Cell())
            for entry, at in places.items()
        ]
    if not places:
        raise SourceError(
            f"the sheet `{JOBS_SHEET}` has no row of headings", where=where,
            accepted=f"`{HYDRANT_HEADING}` and one of {', '.join(HEADINGS.values())} in one row",
            do="put the headings back as they were sent",
        )  # fmt: skip
    cells = pd.DataFrame(made, columns=["row", "place", "hydrant_id", "entry", "cell"])
    cells.attrs["has"] = tuple(places)
    return cells


def _once(heads: Sequence[str], where: str, row: int) -> None:
    twice = sorted({head for head in heads if heads.count(head) > 1})
    if twice:
        raise SourceError(
            "a heading stands twice", where=f"{where}, sheet {JOBS_SHEET}, row {row}",
            found=some(twice), do="rename or delete the column that is not to be read",
        )  # fmt: skip


def _computed(cells: pd.DataFrame, path: Path) -> pd.DataFrame:
    """Formulas of the planner by their values; one without a value is a problem."""
    book = _opened(path, values=True)
    try:
        rows = dict(enumerate(_rows(book[JOBS_SHEET]), start=1))
        told = [
            _value(cell, rows[row][place]) if cell.formula else cell
            for row, place, cell in zip(cells["row"], cells["place"], cells["cell"], strict=True)
        ]
    finally:
        book.close()
    return cells.assign(cell=pd.Series(told, index=cells.index, dtype="object"))


def _value(formula: _Cell, cell: Any) -> _Cell:  # noqa: ANN401
    # one that came to an empty text has no value either, and says that it is text
    if cell.value is None and getattr(cell, "data_type", None) != "str":
        return _Cell(formula.text, problem=_UNCOMPUTED)
    return _told(cell)


def _entries(cells: pd.DataFrame, sent: _Sent) -> pd.DataFrame:
    """What differs from what was sent."""
    ids = _match_ids(cells["hydrant_id"], tuple(sent.was.index))
    known = ids.isin(sent.was.index)
    read: dict[str, Callable[[_Cell], tuple[str, str | None]]] = {
        "decision": _decision,
        "crew": lambda cell: _crew(cell, sent.crews),
        "week": lambda cell: _week(cell, sent.weeks),
        "note": lambda cell: (cell.text, cell.problem),
    }
    told = [read[e](cell) for e, cell in zip(cells["entry"], cells["cell"], strict=True)]
    was = _long(sent.was).set_index(["hydrant_id", "entry"])["was"]
    frame = pd.DataFrame(
        {
            "row": cells["row"], "hydrant_id": ids, "entry": cells["entry"],
            "value": pd.Series([value for value, _ in told], index=cells.index, dtype="str"),
            "problem": pd.Series([what for _, what in told], index=cells.index, dtype="str"),
        }
    )  # fmt: skip
    keys = pd.MultiIndex.from_frame(frame[["hydrant_id", "entry"]])
    frame["was"] = was.reindex(keys).fillna("").to_numpy()
    by = ["hydrant_id", "entry"]
    several = frame[known].groupby(by)["value"].transform("nunique") > 1
    for _, rows in frame[several.reindex(frame.index, fill_value=False)].groupby(by)["row"]:
        where = some(rows.drop_duplicates().tolist())
        frame.loc[rows.index, "problem"] = (
            f"the hydrant stands in rows {where} with different entries"
        )
    named = frame["hydrant_id"] != ""
    frame.loc[~known & named, "problem"] = _NOT_SENT
    frame.loc[~named, "problem"] = _NO_HYDRANT
    changed = _spaced(frame["value"]) != _spaced(frame["was"])
    # two rows of one entry say it once
    again = frame.duplicated(["hydrant_id", "entry", "value"]) & known
    entries = frame[changed & ~again]
    every = [
        entries,
        _strangers(frame[~known & named], entries),
        _lost_columns(cells.attrs["has"], sent.was),
        _lost_rows(sent.was[~sent.was.index.isin(ids)]),
    ]
    result = pd.concat([part for part in every if len(part)] or [entries], ignore_index=True)
    result = result.sort_values("row", kind="stable", na_position="last")
    result["row"] = result["row"].astype("Int64")
    for name in ("hydrant_id", "value", "was", "problem"):
        text = result[name].astype("str")
        result[name] = text.mask(text == "")
    return result[list(ENTRY_COLUMNS)].reset_index(drop=True)


def _spaced(texts: pd.Series) -> pd.Series:
    """Texts without what programs change when they save: kinds and runs of blanks."""
    return texts.fillna("").str.split().str.join(" ")


def _strangers(unknown: pd.DataFrame, entries: pd.DataFrame) -> pd.DataFrame:
    """Rows of hydrants that were not sent and have no entry: told once."""
    rest = unknown[~unknown["row"].isin(entries["row"])].drop_duplicates("row")
    return rest.assign(entry=ROW_ENTRY, value="", was="")


def _lost_columns(has: tuple[str, ...], was: pd.DataFrame) -> pd.DataFrame:
    """What stood in columns that are gone."""
    lost = _long(was)
    lost = lost[~lost["entry"].isin(has) & (lost["was"] != "")]
    return lost.assign(row=None, value="", problem=_NO_COLUMN)


def _long(was: pd.DataFrame) -> pd.DataFrame:
    """What was sent, a row an entry."""
    return was.reset_index().melt("hydrant_id", var_name="entry", value_name="was")


def _lost_rows(gone: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "row": None, "hydrant_id": gone.index, "entry": ROW_ENTRY, "value": "", "was": "",
            "problem": _GONE,
        }
    )  # fmt: skip


def _match_ids(ids: pd.Series, known: tuple[str, ...]) -> pd.Series:
    """Ids as they were sent, where a program made a number of one and only one can be meant."""
    there = set(known)
    odd = [text for text in ids.unique() if text and text not in there]
    meant = {text: _one_of(text, known) or text for text in odd}
    return ids.map(lambda text: meant.get(text, text)).astype("str")


def _one_of(text: str, known: Sequence[str]) -> str | None:
    """The id that is meant: as it stands, or the only one like it without zeros in front."""
    if text in known:
        return text
    like = [name for name in known if _bare(name) == _bare(text)]
    return like[0] if len(like) == 1 else None


def _bare(text: str) -> str:
    return (
        re.sub(r"\.0+$", "", text).lstrip("0").casefold() if text[:1].isdigit() else text.casefold()
    )


def _decision(cell: _Cell) -> tuple[str, str | None]:
    text = cell.text.casefold()
    if cell.problem or not text or text in DECISIONS:
        return (cell.text if cell.problem else text), cell.problem
    return cell.text, f"accepted are {' and '.join(DECISIONS)}"


def _crew(cell: _Cell, crews: Sequence[str]) -> tuple[str, str | None]:
    if cell.problem or not cell.text:
        return cell.text, cell.problem
    crew = _one_of(cell.text, crews)
    if crew is None:
        return cell.text, f"no crew of the season; there are {some(crews)}"
    return crew, None


def _week(cell: _Cell, weeks: Sequence[str]) -> tuple[str, str | None]:
    """A week in any spelling as ISO 8601 writes it."""
    text = cell.text
    if cell.problem or not text:
        return text, cell.problem
    found = _WEEK.fullmatch(text)
    if found is None or cell.is_date:
        kind = "a day, no week" if cell.is_date else "no week"
        return text, f"{kind}; write it as {weeks[0] if weeks else '2027-W14'}"
    number = int(found["week"])
    if found["year"] is None:
        meant = [week for week in weeks if int(week[-2:]) == number]
        if len(meant) != 1:
            which = f"it may be {' or '.join(meant)}" if meant else "no week of the season"
            return text, f"{which}; write it with its year"
        return meant[0], None
    week = f"{found['year']}-W{number:02d}"
    if week not in weeks:
        ends = f"the season goes from {weeks[0]} to {weeks[-1]}" if weeks else "no week"
        return (week if 1 <= number <= 53 else text), f"not in the season; {ends}"
    return week, None
