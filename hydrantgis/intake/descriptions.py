"""
What surveyors write beside a point: what it stands on, and at which hydrant.

A word is used where it can mean one thing alone. `BC` may be the back of a curb, its bottom or the
beginning of a curve, and `FL` a flange or a flow line: what they stand for is for the user to say.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from hydrantgis.ground.errors import WordsError, some
from hydrantgis.ground.findings import findings, join_findings, no_findings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

SHOT_KINDS = (
    "ground", "outlet", "outlet-centerline", "outlet-bottom", "flange", "nut", "curb", "wall",
    "unknown",
)  # fmt: skip
"""What a shot stands on; `outlet` where its point is not told, `unknown` where nothing is."""

_THINGS = ("ground", "outlet", "flange", "nut", "curb", "wall")
_MARKS = (*_THINGS, "centerline", "bottom", "top", "ambiguous")
FIELD_CODES: dict[str, str] = {
    **dict.fromkeys(
        ("GND", "GRD", "GRND", "GROUND", "GS", "EG", "OG", "NG", "FG", "GRADE", "SPOT"), "ground"
    ),
    **dict.fromkeys(
        ("OUTLET", "NOZ", "NOZZLE", "PUMPER", "STEAMER", "HOSE", "PORT"), "outlet"
    ),
    **dict.fromkeys(("FLANGE", "FLG", "FLNG", "BREAKAWAY"), "flange"),
    **dict.fromkeys(("NUT", "OPNUT"), "nut"),
    **dict.fromkeys(("CURB", "TC", "TBC", "TOC", "KERB"), "curb"),
    **dict.fromkeys(("WALL", "RW", "TW"), "wall"),
    **dict.fromkeys(("CL", "CTR", "CENTER", "CENTRE", "CENTERLINE", "CENTRELINE"), "centerline"),
    **dict.fromkeys(("BOT", "BOTTOM", "BTM"), "bottom"),
    "TOP": "top",
    **dict.fromkeys(
        ("BC", "FL", "BW", "GR", "SW", "EP", "CB", "INV", "INVERT", "VALVE", "WV", "GV"),
        "ambiguous",
    ),
}  # fmt: skip
"""
What words of a field book stand for: common practice, no source.

`centerline` and `bottom` tell the point of an outlet. The bottom of a curb or wall, and the top of
an outlet or flange, are other heights than are meant, so that the shot stays unknown. `ambiguous`
words mean one thing in one office and another in the next: `BC` back or bottom of curb, or
beginning of curve; `FL` flange or flow line; `BW` back of walk or bottom of wall; `GR` ground or
guard rail; `SW` sidewalk, storm water or south-west; `EP` edge of pavement, power pole or end
point; `CB` catch basin or curb; an outlet with an invert is a pipe's, and a valve has a nut, too.
"""
HYDRANT_WORDS = ("FH", "HYD", "HYDRANT", "HYDT", "#")
"""Behind one of these a bare number is a hydrant's."""
_BETWEEN = r"[\s,;/|()\[\]=]+"
_ROUND = ".:'\"!?"


def shot_kind(
    descriptions: pd.Series, codes: Mapping[str, str] | None = None
) -> tuple[pd.Series, pd.DataFrame]:
    """
    What each shot stands on.

    Parameters
    ----------
    descriptions
        As the surveyor wrote them.
    codes
        Words, or whole descriptions, and what they stand for: one of `SHOT_KINDS`, or
        `centerline`, `bottom`, `top`, `ambiguous`. They overrule `FIELD_CODES`; case does not
        matter.

    Returns
    -------
    kinds
        Same index, one of `SHOT_KINDS`.
    findings
        Of table `shots`: which descriptions were not used, since their words may mean several
        things, or name two.

    Raises
    ------
    WordsError
        A code stands for something that no shot stands on.

    Notes
    -----
    A word with digits right behind it is that word (`TC1`). Words may be joined by a mark
    (`FH-NUT`), but not with a digit among them: `FL-12` is the number of something.

    Examples
    --------
    >>> shot_kind(pd.Series(["GND", "FH-12 nut", "CL PUMPER", "BC", None]))[0].tolist()
    ['ground', 'nut', 'outlet-centerline', 'unknown', 'unknown']
    >>> shot_kind(pd.Series(["BC"]), {"bc": "curb"})[0].tolist()
    ['curb']
    """
    said = {" ".join(word.upper().split()): kind for word, kind in (codes or {}).items()}
    wrong = sorted({kind for kind in said.values() if kind not in (*SHOT_KINDS, *_MARKS)})
    if wrong:
        raise WordsError(
            f"shots do not stand on {some(wrong)}",
            accepted=", ".join(dict.fromkeys((*SHOT_KINDS, *_MARKS))),
        )
    known = {**FIELD_CODES, **said}
    # a survey writes the same few descriptions again and again
    at, spellings = pd.factorize(descriptions)
    text, row, words = _words(pd.Series(spellings, dtype="str"))
    # what a word means is asked once a distinct word, and not once a shot
    place, distinct = pd.factorize(words)
    meant = [_meaning(word, known) for word in distinct]
    n = len(text)
    has: dict[str, NDArray[np.bool_]] = {}
    for mark in (*_MARKS, "outlet-centerline", "outlet-bottom"):
        hit = np.array([mark in marks for marks in meant], dtype=bool)
        has[mark] = np.bincount(row[hit[place]], minlength=n) > 0
    for point in ("centerline", "bottom"):
        has["outlet"] |= has[f"outlet-{point}"]
        has[point] |= has[f"outlet-{point}"]
    things = np.sum([has[thing] for thing in _THINGS], axis=0)
    both = has["outlet"] & has["centerline"] & has["bottom"]
    other = has["bottom"] & (has["curb"] | has["wall"])
    other |= has["top"] & (has["outlet"] | has["flange"])
    contrary = (things > 1) | both | other
    doubtful = has["ambiguous"]
    sure = (things == 1) & ~contrary & ~doubtful
    outlet = sure & has["outlet"]
    kinds = np.select(
        [outlet & has["centerline"], outlet & has["bottom"],
         *(sure & has[thing] for thing in _THINGS)],
        ["outlet-centerline", "outlet-bottom", *_THINGS],
        "unknown",
    ).astype(object)  # fmt: skip
    whole = text.map({word: kind for word, kind in said.items() if kind in SHOT_KINDS})
    told = whole.notna().to_numpy()
    kinds[told] = whole[told].to_numpy()
    rows = at >= 0
    every = np.full(len(at), "unknown", dtype=object)
    every[rows] = kinds[at[rows]]
    told_of = pd.Series(spellings, dtype="str").iloc[at[rows]]
    noticed = join_findings(
        _of_words(told_of[(doubtful & ~told)[at[rows]]], "words that may mean several things"),
        _of_words(
            told_of[(contrary & ~doubtful & ~told)[at[rows]]],
            "words for several things, or for another height of one",
        ),
    )
    return pd.Series(every, index=descriptions.index, dtype="str", name="shot_kind"), noticed


def hydrant_id_in(descriptions: pd.Series, ids: pd.Series) -> tuple[pd.Series, pd.Series]:
    """
    The hydrant that each description names.

    Parameters
    ----------
    descriptions
        As the surveyor wrote them.
    ids
        The ids that there are.

    Returns
    -------
    hydrant_ids
        Same index; an id of `ids`, or missing.
    reasons
        Same index; why an id that stands there was not taken.

    Notes
    -----
    An id has to stand as a whole, between blanks, commas and the like; case does not matter. One of
    digits alone may be any number: it counts behind a word for a hydrant, or where nothing else
    stands.

    Examples
    --------
    >>> words = pd.Series(["FH HYD-0123 NUT", "HYD-01", "HYD-0123 TO HYD-0124"])
    >>> found, reasons = hydrant_id_in(words, pd.Series(["HYD-0123", "HYD-0124"]))
    >>> found.tolist(), reasons.dropna().tolist()
    (['HYD-0123', nan, nan], ['names several hydrants'])
    """
    known = ids.dropna().astype("str").drop_duplicates()
    _, of_id, parts = _words(known)
    length = np.bincount(of_id, minlength=len(known))
    spoken = pd.Series(parts, dtype="str").groupby(of_id).agg(" ".join)
    spoken = spoken.reindex(np.arange(len(known)))
    twins = spoken[spoken.notna()].duplicated(keep=False)
    position = pd.Index(spoken.fillna(""))
    text, row, words = _words(descriptions)
    n = len(text)
    hits: list[NDArray[np.intp]] = []
    rows: list[NDArray[np.intp]] = []
    bare = np.zeros(n, dtype=bool)
    size = np.bincount(row, minlength=n)
    unique = position[~position.duplicated()]
    first_of = np.flatnonzero(~position.duplicated())
    for many in np.unique(length[length > 0]):
        joined, start = _runs(words, row, int(many))
        found = unique.get_indexer(pd.Index(joined, dtype="str"))
        at = np.flatnonzero(found >= 0)
        start, hit = start[at], first_of[found[at]]
        digits = pd.Series(joined[at], dtype="str").str.fullmatch(r"\d+").to_numpy(dtype=bool)
        before = np.isin(words[np.maximum(start - 1, 0)], HYDRANT_WORDS)
        before &= (start > 0) & (row[start] == row[np.maximum(start - 1, 0)])
        number = digits & ~before & (size[row[start]] > many)
        bare[row[start[number]]] = True
        rows.append(row[start[~number]])
        hits.append(hit[~number])
    pairs = pd.DataFrame(
        {"row": np.concatenate([*rows, []]), "hit": np.concatenate([*hits, []])}, dtype="int64"
    ).drop_duplicates()
    count = np.bincount(pairs["row"], minlength=n)
    alike = np.zeros(n, dtype=bool)
    alike[pairs["row"][pairs["hit"].isin(twins.index[twins]).to_numpy()]] = True
    one = pairs[(count[pairs["row"]] == 1) & ~alike[pairs["row"]]]
    values = np.full(n, None, dtype=object)
    values[one["row"]] = known.to_numpy(dtype=object)[one["hit"]]
    reasons = np.select(
        [count > 1, alike, bare & (count == 0)],
        ["names several hydrants", "ids that differ by case or marks alone",
         "a number alone, which may be any number"],
        "",
    ).astype(object)  # fmt: skip
    reasons[reasons == ""] = None
    index = descriptions.index
    return (
        pd.Series(values, index=index, dtype="str", name="hydrant_id"),
        pd.Series(reasons, index=index, dtype="str", name="reason"),
    )


def _words(texts: pd.Series) -> tuple[pd.Series, NDArray[np.intp], NDArray[np.object_]]:
    """The texts in capitals, index 0 to n-1; then every word of them, with its row."""
    text = pc.fill_null(pa.array(texts.astype("str"), pa.large_string(), from_pandas=True), "")
    spaced = pc.replace_substring_regex(pc.utf8_upper(text), r"[\s\x{a0}]+", " ")
    upper = pc.utf8_trim_whitespace(spaced)
    apart = pc.replace_substring(upper, "#", " # ")
    lists = pc.split_pattern_regex(apart, _BETWEEN)
    words = pc.utf8_trim(pc.list_flatten(lists), _ROUND)
    row = pc.list_parent_indices(lists)
    filled = pc.not_equal(words, "")
    return (
        pd.Series(upper.to_pandas(), dtype="str"),
        row.filter(filled).to_numpy().astype(np.intp),
        words.filter(filled).to_numpy(zero_copy_only=False).astype(object),
    )


def _runs(
    words: NDArray[np.object_], row: NDArray[np.intp], many: int
) -> tuple[NDArray[np.object_], NDArray[np.intp]]:
    """So many words of one row beside each other, joined, and where each run starts."""
    last = max(len(words) - many + 1, 0)
    start = np.flatnonzero(row[:last] == row[many - 1 : many - 1 + last])
    joined = words[start]
    for step in range(1, many):
        joined = joined + " " + words[start + step]
    return joined, start


def _meaning(word: str, known: Mapping[str, str]) -> set[str]:
    """What a word, or what is joined in it, stands for; nothing where it is not known."""
    for spelled in (word, word.rstrip("0123456789")):
        if spelled in known:
            return {known[spelled]}
    if any(letter.isdigit() for letter in word):
        return set()
    return {known[part] for part in re.split("[-_]", word) if part in known}


def _of_words(texts: pd.Series, what: str) -> pd.DataFrame:
    if not len(texts):
        return no_findings()
    counts = texts.value_counts()
    listed = some([f"`{word}` ({many:,})" for word, many in counts.items()], 8)
    return findings(
        "shot-word-ambiguous", table="shots", keys=["(several)"], column="description",
        values=[listed], messages=f"{len(texts):,} shots are not used: {what}",
    )  # fmt: skip
