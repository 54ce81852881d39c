"""
Findings: one thing noticed about one row, with a code that tests and people can rely on.

A finding never removes a row. Its severity says how much it matters: `error` means that the row
could not be used for what it was meant for, `warning` that it was used and should be looked at,
`note` that it is worth knowing.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable


class Severity(StrEnum):
    """How much a finding matters."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class Kind(NamedTuple):
    """What a finding code means."""

    severity: Severity
    meaning: str
    do: str


_E, _W, _N = Severity.ERROR, Severity.WARNING, Severity.NOTE

CODES: dict[str, Kind] = {
    # what intake notices
    "id-missing": Kind(_E, "the row has no id", "give it an id, or number the rows"),
    "id-repeated": Kind(_E, "several rows that differ share one id", "decide which row is meant"),
    "id-placeholder": Kind(_E, "the id is one that stands for none", "give the row an id"),
    "id-in-two-places": Kind(
        _E, "one id stands at places apart from each other", "find out which hydrant has the id"
    ),
    "ids-in-one-place": Kind(
        _E, "hydrants of different ids stand in one place",
        "find out which one is there, or say same_place_ft = 0 in a profile",
    ),
    "id-in-other-field": Kind(
        _N, "another field has an id of its own for every row",
        "say --field COLUMN=FIELD where that is the id",
    ),
    "id-alike": Kind(
        _W, "ids that differ only by zeros in front, case or marks", "see that both are meant"
    ),
    "row-repeated": Kind(_W, "the row stands twice in all that is brought in", "nothing"),
    "no-location": Kind(_W, "the row has no usable point", "locate it"),
    "zero-location": Kind(_E, "the point is exactly 0, 0", "locate it"),
    "no-rows": Kind(_W, "the layer is empty", "ask for it again"),
    "page-limit": Kind(
        _W, "exactly as many rows as services hand out at a time: it may have been cut off",
        "count the rows where the layer came from",
    ),
    "zero-extent": Kind(_E, "all points lie at one place", "ask for the layer again"),
    "crs-missing": Kind(
        _E, "the source names no coordinate reference system", "ask, and say it with --crs"
    ),
    "two-coordinates": Kind(
        _N, "a field holds two numbers, and nothing tells which is which",
        "say --place latlon=FIELD or --place lonlat=FIELD",
    ),
    "has-heights": Kind(
        _N, "looks like measured heights", "bring them in with `survey`"
    ),
    "parts-taken": Kind(
        _W, "points of several parts were taken as the profile says", "look at a few"
    ),
    "place-unreadable": Kind(_E, "the coordinates cannot be read", "correct them"),
    "many-parts": Kind(_E, "the point has several parts", "decide which part is meant"),
    "far-location": Kind(
        _W, "the point lies far from all others; swapped coordinates do that", "check its place"
    ),
    "axes-swapped": Kind(
        _E, "the point lies far off, and with x and y exchanged among the others",
        "exchange them in the source"
    ),
    "attribute-coordinates-differ": Kind(
        _W, "coordinates among the row's fields do not agree with its point",
        "find out which of the two is right"
    ),
    "outside-service-area": Kind(
        _W, "the point lies more than 5 miles from where the register's hydrants are",
        "check its place",
    ),
    "foot-told-apart": Kind(
        _N, "the CRS is in one of two feet, and the other would move the points", "be sure of it"
    ),
    "crs-unproved": Kind(
        _N, "the CRS has no area of use that the points could be held against", "look at the map"
    ),
    "crs-overruled": Kind(_W, "--crs was taken instead of what the source says", "be sure of it"),
    "outside-crs-area": Kind(
        _E, "the point lies outside the area of use of its CRS", "check the CRS of the source"
    ),
    "not-a-hydrant": Kind(_W, "the row is tagged as something else", "nothing"),
    "tags-unpacked": Kind(_N, "tags packed in one field were read as fields", "look at them"),
    "codes-read": Kind(_N, "codes were read as the labels that stand for them", "nothing"),
    "code-unknown": Kind(
        _W, "codes without a label stay as they are",
        'say [codes.FIELD] CODE = "LABEL" in a profile',
    ),
    "spelling-unknown": Kind(
        _N, "spellings that the table of the profile does not have", "add them to [values] of it"
    ),
    "value-says-nothing": Kind(
        _W, "a word that does not tell what its column holds; left blank", "find it out",
    ),
    "encoding-taken": Kind(
        _N, "the letters are not in UTF-8 and no mark says how they are written", "look at a few"
    ),
    "text-garbled": Kind(
        _W, "letters look as if read in another encoding than they were written in",
        "say --encoding",
    ),
    "value-unreadable": Kind(_E, "the cell cannot be read as what its column holds", "correct it"),
    "value-out-of-range": Kind(_E, "the value lies outside what its column allows", "correct it"),
    "value-not-allowed": Kind(_E, "the value is none of those its column allows", "map the value"),
    "value-missing": Kind(_E, "a required value is missing", "supply it"),
    "sentinel-value": Kind(_W, "the value looks like a mark for `not known`", "leave it blank"),
    "value-too-often": Kind(
        _W, "an odd value stands in too many rows; it may stand for `not known`",
        "say [sentinels] in a profile if it does",
    ),
    "unit-doubtful": Kind(_W, "the numbers are unusual in the unit that is said", "check the unit"),
    "date-order-proved": Kind(
        _N, "the order of day and month was taken from dates that fit no other", "check one date"
    ),
    "date-in-future": Kind(
        _W, "the date lies in the future", "correct the date; a reading of such a day is held"
    ),
    "date-implausible": Kind(_W, "a date before the first hydrants; left blank", "correct it"),
    "unit-missing": Kind(
        _E, "bare numbers and no unit said: the column was not brought in", "say the unit"
    ),
    "dates-as-milliseconds": Kind(
        _N, "whole numbers were read as milliseconds since 1970-01-01", "check one of them"
    ),
    "z-left-out": Kind(_N, "a Z of unknown meaning was left out",
        "say --field COLUMN=(Z) if it is what a column holds"),
    "shape-mended": Kind(_W, "the shape crossed itself and was mended", "look at it"),
    "field-unused": Kind(_N, "a field of the source was not brought in", "map it if it matters"),
    "unknown-hydrant": Kind(
        _E, "the reading names a hydrant that is not in the register", "import the hydrant first"
    ),
    "many-gone": Kind(
        _E, "a newer layer lacks so many hydrants that it may be an extract",
        "where it is one, bring the whole layer in again, and the extract with --adds",
    ),
    "told-before": Kind(
        _N, "the same file was brought in before, read otherwise; this telling takes its place",
        "nothing",
    ),
    "areas-joined": Kind(
        _N, "several polygons have one area id and became one area", "look at the ids"
    ),
    "reading-elsewhere": Kind(
        _E, "the reading was not taken where its hydrant stands",
        "be sure which hydrant was measured, and mend the id",
    ),
    "reading-place-unread": Kind(
        _N, "the readings have coordinates, and nothing says of which CRS",
        "say --crs, and they are held against the hydrants",
    ),
    "outlet-unsaid": Kind(
        _W, "the shot is on an outlet, and nothing says on which one and on which point of it",
        "say --measured-to, for example pumper-centerline, and survey it again",
    ),
    "shot-name-unsure": Kind(
        _W, "which hydrant the description of the shot names is not sure", "mend the description"
    ),
    "shot-elsewhere": Kind(
        _W, "the shot lies far from the hydrant that it names", "look at the shot"
    ),
    "shot-near-two": Kind(
        _W, "the shot names no hydrant and stands between two", "name the hydrant in the survey"
    ),
    "shot-of-no-hydrant": Kind(
        _W, "the shot is of a hydrant and stands at none", "name the hydrant in the survey"
    ),
    "datum-converted": Kind(
        _N, "elevations were converted into the datum of the ground", "check one of them"
    ),
    "datum-not-converted": Kind(
        _E, "elevations cannot be converted into the datum of the ground",
        "shoot both in one datum, or put the grid where PROJ finds it",
    ),
    "no-present-grade": Kind(
        _W, "the grade as it is is not known there, so that its change cannot be told",
        "shoot the grade, or bring in a terrain of the same datum",
    ),
    "beyond-design": Kind(_N, "hydrants that a design surface does not reach", "nothing"),
    "grade-changed-since": Kind(
        _W, "the grade has changed since the height was measured", "measure the hydrant again"
    ),
    "kit-fitted-since": Kind(
        _W, "the hydrant got another extension since the height was measured",
        "measure the hydrant again",
    ),
    "grade-changed-undated": Kind(
        _W, "the grade has changed, and whether the height is of before or after is not known",
        "say when it was measured, or measure the hydrant again",
    ),
    "reading-undated-differs": Kind(
        _W, "a reading of no known day differs from the one that stands, and may be newer",
        "say when it was measured (--on)",
    ),
    "elev-sd-assumed": Kind(
        _N, "shots do not say how sure they are; 0.02 ft is taken for each",
        "say it with --elev-sd, or --method gnss",
    ),
    "no-height": Kind(_W, "the reading holds no height", "measure the hydrant"),
    "height-implausible": Kind(_E, "no hydrant stands at this height", "measure again"),
    "height-unconfirmed": Kind(
        _W, "few hydrants stand so, and one reading alone says it; it orders no kit",
        "measure the hydrant again; two readings within 1 in confirm each other",
    ),
    "height-suspicious": Kind(_W, "the height is possible and rare", "look at the hydrant"),
    "height-and-elevations-differ": Kind(
        _W, "a height and the elevations beside it do not agree", "find out why"
    ),
    "shot-code-unknown": Kind(
        _W, "shots whose code is not known are not used as ground",
        "name the field with --field shot_code=FIELD, and words with --value shot_code:WORD=ground",
    ),
    "shot-word-ambiguous": Kind(
        _W, "words of shots that may mean several points are not used", "say what each stands for"
    ),
    "comments-left-out": Kind(_N, "lines that begin like a comment were not read", "look at one"),
    "line-unreadable": Kind(_E, "the line does not hold what its order says", "correct it"),
    "units-differ": Kind(
        _W, "the file names another unit of length than its CRS has",
        "find out which one the coordinates are in",
    ),
    "elev-unit-differs": Kind(
        _W, "elevations are said to be in feet and places are in metres, or the reverse",
        "check --unit elev_ft=",
    ),
    "outlet-words-differ": Kind(
        _W, "the description names another outlet than was said", "say which one is right"
    ),
    "no-triangles": Kind(
        _W, "the surface holds no triangles: it has no elevation between its points",
        "ask for the surface with its triangles",
    ),
    "triangles-left-out": Kind(
        _W, "triangles name a point that is not there, or not three", "ask for the file again"
    ),
    "surface-point-unreadable": Kind(
        _W, "points of a surface cannot be read, or share an id", "ask for the file again"
    ),
    "shot-implausible": Kind(_E, "the elevation is a mark for `not known`", "leave it out"),
    "terrain-too-coarse": Kind(
        _W, "the terrain is too coarse to decide any height",
        "rank visits with it at most, and ask for a finer one",
    ),
    "terrain-statements-differ": Kind(
        _W, "the accuracies that are stated of the terrain are not of the same check points",
        "ask who made it",
    ),
    "terrain-worse-than-stated": Kind(
        _W, "ground shots say that the terrain is worse than is stated of it",
        "ask who made it, and check unit and datum",
    ),
    "terrain-shot-blunder": Kind(
        _W, "a ground shot lies far off the terrain, unlike the others, and does not check it",
        "check the shot",
    ),
    "terrain-checked": Kind(
        _N, "how far the terrain lies from the ground shots in its datum",
        "use it with --rmse-z from-shots where there are 20 or more",
    ),
    "terrain-overruled": Kind(
        _W, "what the terrain says of itself was overruled", "be sure of it"
    ),
    "terrain-outside": Kind(
        _W, "the point lies outside the terrain, or on the outer half of its outermost cells",
        "add the tile next to it, or shoot the grade",
    ),
    "terrain-nodata": Kind(_W, "the terrain has no value at the point", "shoot the grade"),
    "terrain-nodata-undeclared": Kind(
        _W, "the terrain holds an impossible elevation at the point: a mark for `no value`",
        "say the mark if it is one value",
    ),
    # what the register notices
    "id-by-place": Kind(
        _N, "the row has no id, and stands where a hydrant of the register does: it got that id",
        "look at a few",
    ),
    "moved-far": Kind(_W, "the hydrant moved farther than a survey corrects", "check its place"),
    "id-handed-on": Kind(
        _W, "a known id stands where another one stood: ids may have been given anew",
        "be sure which hydrant is meant; readings stay with their id",
    ),
    "renumbered": Kind(
        _W, "a new id stands where one that is gone stood; the readings stay with the old id",
        "find out whether it is the same hydrant, and give it its old id if so",
    ),
    # what the heights room notices
    "readings-same-day": Kind(
        _W, "several readings of one day differ", "measure again, or say which one stands"
    ),
    "reading-other-outlet": Kind(
        _W, "the reading is of another outlet, or point, than the rule judges",
        "measure that one, or say --outlet"
    ),
    "outlet-size-unknown": Kind(
        _W, "center and bottom of an outlet differ by half its size, which is not known",
        "record the outlet's size",
    ),
    "flange-height-unknown": Kind(
        _W, "the rule measures from the flange, whose height is not known", "measure the flange"
    ),
    "curb-unknown": Kind(
        _W, "the rule looks at a curb nearby, which was not recorded", "record curb and distance"
    ),
    "no-grade": Kind(_W, "there is an outlet elevation and no grade to set it against", "shoot it"),
    "grade-outlier": Kind(_W, "a shot lies far off its neighbors and was left out", "check it"),
    "elevations-apart": Kind(
        _E, "shots lie far above or below all that were shot before in their datum",
        "check their unit and datum",
    ),
    "grade-moved": Kind(
        _N, "ground shots of two times differ; the newer ones tell the grade", "look at both"
    ),
    "grade-doubted": Kind(
        _W, "a shot or two alone tell that the ground has moved far", "shoot more ground there"
    ),
    "work-ahead": Kind(
        _W, "works are said to be built on a day that had not come; they count as planned",
        "bring them in again when they are built",
    ),
    "outside-surface": Kind(_W, "no triangle of the surface lies here", "ask for more of it"),
    "surface-over-itself": Kind(
        _W, "triangles of the surface lie over each other; the highest was taken", "mend it"
    ),
    "surface-left": Kind(
        _W, "the hydrant moved off the place at which surfaces were read", "bring them in again"
    ),
    "works-overlap": Kind(
        _W, "the hydrant stands inside several works", "see that no work was drawn twice"
    ),
    "work-edge": Kind(
        _W, "the hydrant stands on the line of a work; taken as inside", "look on which side it is"
    ),
    "work-change-unknown": Kind(
        _W, "a work here does not say how much it changes the grade", "find it out"
    ),
    "datums-differ": Kind(_E, "outlet and grade stand in different vertical datums", "convert"),
    # what the assess room notices
    "barrel-unknown": Kind(
        _N, "the barrel type is not recorded; judged as a dry barrel", "record it"
    ),
    "not-dry-barrel": Kind(_N, "no dry-barrel hydrant: not judged", "nothing"),
    "retired": Kind(_N, "retired: not judged", "nothing"),
    "extension-unknown": Kind(
        _N, "whether a kit is in the hydrant is not recorded; judged as having none", "record it"
    ),
    "bury-beyond-torque-range": Kind(
        _N, "the bury is then longer than 5 ft, for which AWWA C502-18, 4.5.5 states no torque",
        "ask the maker",
    ),
    "allowance-area-unknown": Kind(
        _W, "the house rules allow for ground that moves in an area that is not in the register",
        "correct the area's id in the kit catalogue",
    ),
    "cover-less": Kind(
        _N, "a shorter bury leaves less ground over the inlet pipe", "see that frost stays above it"
    ),
    "drain-deeper": Kind(
        _N, "the drain lies 18 in or more deeper below the ground once the kit is in",
        "see that the barrel still drains, above ground water",
    ),
    # what the season room notices
    "no-branch-valve": Kind(
        _W, "no branch valve is drawn within 50 ft of the hydrant that is its own",
        "find the valve on site before the work is planned; the main valves round it are named",
    ),
    "turns-unusual": Kind(
        _N, "the recorded turns are not those of a gate valve of that size", "count them on site"
    ),
    "must-not-placed": Kind(
        _E, "a job that must be done has no day in the season",
        "change what stands in its way: crews, days, parts, neighbors, or the budget",
    ),
    "season-empty": Kind(_E, "nothing is planned", "change what stands in the way"),
    "neighbour-out": Kind(
        _W, "the next hydrant is out of service already, and this one goes out for a job",
        "put the other one back first, or tell the fire department of both",
    ),
    "no-area": Kind(_W, "the hydrant lies in no area", "extend an area, or leave it"),
    "areas-overlap": Kind(
        _W, "the hydrant lies in several areas; the first by id was taken", "mend the areas"
    ),
}  # fmt: skip
"""Every code, its severity, its meaning and what to do."""

COLUMNS = ("code", "severity", "table", "key", "column", "value", "message")
_NONE = pd.DataFrame({name: pd.Series([], dtype="str") for name in COLUMNS})


def findings(
    code: str,
    *,
    table: str,
    keys: Iterable[object],
    column: str | None = None,
    values: Iterable[object] | None = None,
    messages: str | Iterable[str] | None = None,
) -> pd.DataFrame:
    """
    A frame of findings of one code, a row a key.

    Parameters
    ----------
    code
        One of `CODES`.
    table
        The table that the rows stand in.
    keys
        The rows, by id, or by number where they have none.
    column
        The column that it is about.
    values
        What stands there, one a key.
    messages
        One for all or one a key; what the code means where none is given.

    Returns
    -------
    frame
        Columns `COLUMNS`, all text, index 0 to n-1.

    Examples
    --------
    >>> findings("no-area", table="hydrants", keys=["H1"])[["code", "key"]].values.tolist()
    [['no-area', 'H1']]
    """
    kind = CODES[code]
    rows = list(keys)
    n = len(rows)
    text = kind.meaning if messages is None else messages
    columns: dict[str, object] = {
        "code": code,
        "severity": kind.severity.value,
        "table": table,
        "key": rows,
        "column": column,
        "value": [None] * n if values is None else list(values),
        "message": text if isinstance(text, str) else list(text),
    }
    frame = pd.DataFrame(columns, index=pd.RangeIndex(n), columns=list(COLUMNS))
    return frame.astype("str")


def no_findings() -> pd.DataFrame:
    """
    The frame of findings with no rows.

    Examples
    --------
    >>> len(no_findings())
    0
    """
    return _NONE.copy()


def join_findings(*frames: pd.DataFrame) -> pd.DataFrame:
    """
    One frame of all findings given, in that order, index 0 to n-1.

    Examples
    --------
    >>> join_findings(no_findings(), findings("retired", table="hydrants", keys=["H1"])).shape
    (1, 7)
    """
    filled = [frame for frame in frames if len(frame)]
    return pd.concat(filled, ignore_index=True) if filled else no_findings()
