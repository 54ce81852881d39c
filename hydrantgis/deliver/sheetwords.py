"""
What stands on a job sheet, as text: figures, valve, reading, parts, torque, boxes to fill in.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import pandas as pd

from hydrantgis.deliver.inert import breakable, inert
from hydrantgis.ground.text import numbers

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from hydrantgis.standards.fieldwork import Fieldwork
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.rules import HeightRule

    Row = Mapping[str, Any]

VERBS = {
    "extend": "Extend", "exchange": "Exchange the kit", "remove": "Take the kit out",
    "replace": "Replace the hydrant", "lower": "Lower", "regrade": "Raise the ground",
    "measure": "Measure",
}  # fmt: skip
_LONG_STEPS = 18
"""From so many steps on the back of a sheet is measured before it is set."""
_MOST_ALTERNATIVES = 5
_CHANGES = {"fit": "{}", "in its place": "{}", "take the kit out": "no kit"}
"""How a change of the `alternatives` table is said on a sheet."""
_KIT_JOBS = ("extend", "exchange", "remove")


def number(value: object, digits: int = 2, unit: str = "") -> str:
    """
    A number as people write it, with its unit; `?` where there is none.

    Examples
    --------
    >>> number(18.0, unit="in"), number(None)
    ('18 in', '?')
    """
    told = str(numbers([math.nan if _missing(value) else float(str(value))], digits)[0])
    return f"{told} {unit}" if unit and told != "?" else told


def _missing(value: object) -> bool:
    return value is None or bool(pd.isna(value))  # type: ignore[call-overload]


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a table, each by the names of its columns; a page is made of one at a time."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def words_of(value: object, most: int = 120, blank: str = "") -> str:
    """Text of a source, safe to set; `blank` where there is none."""
    return blank if _missing(value) or not str(value).strip() else breakable(value, most)


def counted(many: int, thing: str) -> str:
    """
    How many there are of something.

    Examples
    --------
    >>> counted(1, "hydrant"), counted(2, "hydrant")
    ('1 hydrant', '2 hydrants')
    """
    return f"{many:,} {thing}{'' if many == 1 else 's'}"


def day_of(value: object) -> str:
    """A day as ISO 8601 writes it; empty where there is none."""
    return "" if _missing(value) else f"{pd.Timestamp(str(value)):%Y-%m-%d}"


def weekday(value: object) -> str:
    """
    A day with the name of its weekday.

    Examples
    --------
    >>> weekday("2027-05-04")
    'Tue 2027-05-04'
    """
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    day = pd.Timestamp(str(value))
    return f"{names[day.weekday()]} {day:%Y-%m-%d}"


def _change(before: object, after: object) -> str:
    return f"{number(before)} → {number(after)}"


def figures(row: Row, rule: HeightRule) -> list[dict[str, Any]]:
    """The big figures: what to fit or order, then outlet, flange and bury, before and after."""
    after, raised = row["outlet_height_after_in"], row["raise_in"]
    measured = row["remedy"] == "measure"
    outlet, flange = row["outlet_height_in"], row["flange_height_in"]
    if measured:
        sd = row["height_sd_in"]
        give = "" if _missing(sd) else f"± {number(2 * float(sd), 1)} in, a guide only"
        heights = [
            {"label": "Outlet, last told", "big": number(outlet, unit="in"), "small": give},
            {"label": "Flange, last told", "big": number(flange, unit="in"),
             "small": "bottom of it over grade"},
        ]  # fmt: skip
    else:
        low = f"window {rule.window}"
        high = f"window {rule.flange}" if rule.flange.limited else "no window"
        if _missing(flange) and rule.flange.limited and row["remedy"] in _KIT_JOBS:
            high += "; measure it first"
        heights = [
            {"label": "Outlet height, in", "big": _change(outlet, after), "small": low},
            {"label": "Flange height, in", "small": high,
             "big": _change(flange, row["flange_height_after_in"])},
            {"label": "Bury, ft", "big": _change(row["bury_ft"], row["bury_after_ft"]),
             "small": "the new one on the card"},
        ]  # fmt: skip
    first = {
        "extend": ("Fit kit", row["kit_id"], f"{number(row['kit_length_in'])} in"),
        "exchange": ("Fit kit", row["kit_id"], f"{number(row['kit_length_in'])} in, for the one "
                     f"of {number(row['installed_extension_in'])} in"),
        "remove": ("Take out the kit", f"{number(row['installed_extension_in'])} in", "fit none"),
        "replace": ("New hydrant, bury", number(row["bury_after_ft"], unit="ft"),
                    words_of(row["family"], 40)),
        "lower": ("Lower by", number(_abs(raised), unit="in"), "the engineer says how"),
        "regrade": ("Raise the ground by", _regrade(row), "round the barrel"),
        "measure": ("Measure", f"{rule.outlet} outlet", f"{rule.point}, over "
                    f"{rule.datum.replace('-', ' ')}"),
    }[row["remedy"]]  # fmt: skip
    if row["remedy"] in ("extend", "exchange") and not _missing(row.get("kit_from")):
        where = {"shelf": "off the shelf", "order": "on order"}[str(row["kit_from"])]
        first = (*first[:2], f"{first[2]}, {where}")
    if row["remedy"] == "regrade":
        heights = [
            {"label": f"{name} height, in", "big": number(now), "small": f"to end in {span}"}
            for name, now, span in (
                ("Outlet", outlet, rule.window), ("Flange", flange, rule.flange),
            )
        ]  # fmt: skip
    boxes = [{"label": first[0], "big": words_of(first[1], 24), "small": first[2]}, *heights]
    wide = (1.2, 1.1, 1.25, 1.1) if len(boxes) == 4 else (1.2, 1, 1)
    return [{**box, "wide": width} for box, width in zip(boxes, wide, strict=True)]


def _regrade(row: Row) -> str:
    """By how much the ground is raised: a span, which the reason alone tells."""
    told = re.search(r"raise the ground by (\S+ to \S+ in)", str(row["remedy_reason"]))
    return told[1] if told else "?"


def _abs(value: object) -> object:
    return value if _missing(value) else abs(float(str(value)))


def valve(row: Row) -> dict[str, Any]:
    """Which valve isolates the hydrant, where it is, and in how many turns."""
    if _missing(row["valve_id"]):
        round_it = words_of(row["main_valves"], 120)
        lines = ["Find it before the work is planned; do not open the barrel without."]
        lines += [f"Main valves: {round_it}"] if round_it else []
        return {"head": "No valve of its own is drawn", "big": "?", "lines": lines}
    where = " ".join(x for x in (number(row["distance_ft"], 0, "ft"),
                                 words_of(row["direction"])) if x and x != "?")  # fmt: skip
    lines = [f"{where} of the hydrant" if where else "", turns(row)]
    lines += ["Confirm that it is there, turns and holds."]
    return {
        "head": "Close this valve", "big": words_of(row["valve_id"], 24),
        "lines": [line for line in lines if line],
    }  # fmt: skip


def turns(row: Row) -> str:
    """Size and turns of the isolating valve, in words."""
    size, least, most = row["valve_size_in"], row["turns_least"], row["turns_most"]
    said = [] if _missing(size) else [f"{number(size)} in"]
    if not _missing(row["turns"]):
        said.append(f"{number(row['turns'])} turns on record")
    if not _missing(least):
        said.append(f"{number(least)} to {number(most)} usual")
    return ", ".join(said) or "size and turns not recorded: count them"


def beside(row: Row, rule: HeightRule) -> list[dict[str, Any]]:
    """The panels beside the maps: reading and rule."""
    sd = row["height_sd_in"]
    if _missing(row["outlet_height_in"]):
        read = ["never measured"]
    else:
        read = [f"{number(row['outlet_height_in'])} in ± {number(2 * float(sd))} in (2 sd)"]
        on = day_of(row["reading_date"])
        basis = words_of(row["height_basis"], 70)
        read.append(f"{on or 'of no known day'}{', ' if basis else ''}{basis}")
    asked = [words_of(rule.rule_id, 40), words_of(str(rule), 130)]
    return [{"head": "Reading", "lines": read}, {"head": "Rule", "lines": asked}]


def stand_in(row: Row) -> str:
    """Another hydrant in service, in words, and a nearer one that stands too low or too high."""
    if _missing(row["other_id"]):
        return "none known"
    nearer = "" if _missing(row["nearer_id"]) else f"; nearer {_other(row, 'nearer')}"
    return f"{_other(row, 'other')}{nearer}"


def _other(row: Row, whose: str) -> str:
    where = f"{number(row[f'{whose}_ft'], 0)} ft {words_of(row[f'{whose}_direction'])}"
    verdict = row[f"{whose}_verdict"]
    outside = f" ({verdict})" if verdict in ("low", "high") else ""
    return f"{words_of(row[f'{whose}_id'], 20)}, {where}{outside}"


def alternatives(tried: Sequence[Row]) -> dict[str, Any] | None:
    """
    What can be tried at the hydrant: what is chosen, then what ends nearest to it.

    Parameters
    ----------
    tried
        Its rows of the `alternatives` table.
    """
    if not tried:
        return None
    chosen = [row for row in tried if bool(row["chosen"])]
    aim = float((chosen or list(tried))[0]["raise_in"])
    near = sorted(tried, key=lambda row: (abs(float(row["raise_in"]) - aim), row["raise_in"]))
    shown = sorted(near[:_MOST_ALTERNATIVES], key=lambda row: float(row["raise_in"]))
    rows = []
    for row in shown:
        kit, change = words_of(row["kit_id"], 24), str(row["change"])
        against = words_of(row["against"], 70)
        rows.append(
            {
                "chosen": any(row is one for one in chosen),
                "change": _CHANGES.get(change, "{}, " + change).format(kit),
                "outlet": number(row["outlet_height_after_in"]),
                "flange": number(row["flange_height_after_in"]),
                "p": number(100 * float(row["p_inside_after"]), 0) + " %",
                "against": against.replace("outlet outside; flange outside", "both outside"),
            }
        )
    left = len(tried) - len(shown)
    return {"rows": rows, "more": f"and {left} more that end farther off" if left else ""}


def parts(row: Row, kits: KitCatalogue, default: KitCatalogue) -> tuple[str, list[str], str]:
    """What is to be at hand, with a box each: head, lines, source."""
    if row["remedy"] in ("extend", "exchange"):
        known = kits if any(p.use == "extension" for p in kits.parts) else default
        told = [p for p in known.parts if p.use == "extension"]
        kit = f"{words_of(row['kit_id'], 24)}, {number(row['kit_length_in'])} in; it holds"
        lines = [kit, *(words_of(str(part), 90) for part in told)]
        source = told[0].source if told else ""
        return "Parts", [*lines, "cap gaskets, to carry"], _source(source)
    if row["remedy"] == "remove":
        lines = ["2 barrel gaskets", "break coupling and breakaway flange halves of this hydrant",
                 "bolts and nuts", "cap gaskets, to carry"]  # fmt: skip
        return "Parts", lines, _source("common practice, no source")
    if row["remedy"] in ("replace", "lower"):
        lines = ["gaskets, bolts, restraint for the shoe", "clean stone for the drain",
                 "thrust block", "what disinfection takes"]  # fmt: skip
        if row["remedy"] == "replace":
            lines.insert(0, f"hydrant, bury {number(row['bury_after_ft'], unit='ft')}, "
                         f"{words_of(row['family'], 40, 'family not recorded')}")  # fmt: skip
        return "Have at hand", lines, _source("common practice, no source")
    return "", [], ""


def torque(row: Row, kits: KitCatalogue, default: KitCatalogue) -> tuple[list[list[str]], str]:
    """Each joint with its torque, and where that comes from."""
    if row["remedy"] not in (*_KIT_JOBS, "replace", "lower"):
        return [], ""
    known = kits if kits.joints else default
    lines = []
    for joint in known.joints:
        if row["remedy"] in ("remove", "replace") and "extension" in joint.joint.lower():
            continue
        low, high = joint.least_torque_lbf_ft, joint.most_torque_lbf_ft
        span = "see the maker's sheet"
        if low is not None and high is not None:
            about = "about " if "common practice" in joint.source else ""
            span = f"{about}{low:g} lbf ft" if low == high else f"{low:g} to {high:g} lbf ft"
        bolts = "" if joint.bolts is None else f", {joint.bolts} bolts"
        lines.append([words_of(f"{joint.joint}{bolts}", 70), span])
    return lines, _source(known.joints[0].source if known.joints else "")


def _source(source: str) -> str:
    told = inert(source, 90)
    if "common practice, no source" in told:
        return "common practice, no source; the maker's sheet governs"
    if "maker" in told:
        return told
    return f"{told}; the maker's sheet governs" if told else "the maker's sheet governs"


def steps(row: Row, work: Fieldwork) -> tuple[list[dict[str, Any]], str]:
    """The order of work with its hold points, and where its lines come from."""
    known = not _missing(row["flange_height_in"])
    lines = work.steps_of(str(row["remedy"]), flange_known=known)
    others = [
        f"{n}: {line.source}" for n, line in enumerate(lines, 1) if line.source != work.source
    ]
    told = [{"n": n, "text": line.text, "hold": line.hold or ""} for n, line in enumerate(lines, 1)]
    return told, "; ".join([f"Order of work: {work.source}", *others]) + "."


def record(row: Row, rule: HeightRule) -> tuple[str, str, list[dict[str, Any]]]:
    """The boxes that close-out needs: head, hint, boxes."""

    def box(label: str, hint: str = "", span: int = 1) -> dict[str, Any]:
        return {"label": label, "hint": hint, "span": span}

    window = str(rule.window)
    signed = [
        box("Who (print, sign)", span=2), box("Day"), box("Out at / back at", "__:__  /  __:__"),
    ]  # fmt: skip
    if row["remedy"] == "measure":
        return "Write down", "quarter inches; below the ground with a minus", [
            box("Outlet, first [in]", f"{rule.outlet} outlet, {rule.point}"),
            box("Outlet, second [in]", "within 1 in of the first"),
            box("Flange, bottom of it [in]", str(rule.flange)),
            box("Method", "tape □  level □  other □"),
            box("Curb over grade [in]"), box("Outlets to curb, level [in]"),
            box("High, low ground [in]", "round the barrel"),
            box("Number on the tag"),
            box("Looks wrong", "cap □ chain □ lean □ paint □ blocked □ wet barrel □", 2),
            box("Who (print, sign)"), box("Day"),
        ]  # fmt: skip
    if row["remedy"] == "regrade":
        return "Close-out", "the job is closed with these", [
            box("Outlet height, as left [in]", window),
            box("Flange height, as left [in]", str(rule.flange)),
            box("Ground raised by [in]", f"expected {_regrade(row)}"),
            box("Slopes away", "yes □  no □"), *signed,
        ]  # fmt: skip
    now = number(row["outlet_height_after_in"])
    flange = number(row["flange_height_after_in"])
    expected_flange = "" if flange == "?" else f"expected {flange}; "
    heights = [
        box("Outlet height, as left [in]", f"expected {now}; {window}"),
        box("Flange height, as left [in]", f"{expected_flange}{rule.flange}"),
    ]
    fitted = {
        "extend": ("Kit fitted", f"expected {words_of(row['kit_id'], 24)}"),
        "exchange": ("Kit fitted", f"expected {words_of(row['kit_id'], 24)}"),
        "remove": ("Kit taken out [in]", f"{number(row['installed_extension_in'])} in on record"),
        "replace": ("Hydrant set", "maker, family, year"),
        "lower": ("Done how", "hydrant lowered □  new bury □"),
    }[row["remedy"]]  # fmt: skip
    return "Close-out", "the job is closed with these, and stays open without", [
        *heights, box(*fitted),
        box("New bury on the card", f"□ done; expected {number(row['bury_after_ft'], unit='ft')}"),
        box("Valve, turns to shut", turns_hint(row)),
        box("Valve, turns to open", "fully open again □"),
        box("Hydrant, turns to open", "count and record"),
        box("Leaks", "none □  at:"),
        box("Barrel drains", "yes □  no □  pumped □"),
        box("Fire department told", "out □  back □"),
        box("Left for another day", span=2),
        *signed,
    ]  # fmt: skip


def turns_hint(row: Row) -> str:
    """How many turns the isolating valve should take."""
    if not _missing(row["turns"]):
        return f"{number(row['turns'])} on record"
    if not _missing(row["turns_least"]):
        return f"{number(row['turns_least'])} to {number(row['turns_most'])} usual"
    return "count and record"


_ROOM = {"id": 9, "address": 34, "area": 44}
"""Letters for which there is room in one line."""
_WHOLE, _HALF, _SIDE = 98, 44, 42
"""Letters of a line across the page, across half of it, and beside the maps."""
_LINES, _PARTS, _BESIDE = 14, 10, 8
"""Lines that a front has room for; those of parts, and beside the maps, that are there anyway."""


def is_long(steps: Sequence[dict[str, Any]]) -> bool:
    """Whether the order of work may be too long for the back of a sheet, which is then measured."""
    return len(steps) >= _LONG_STEPS


def is_tight(sheet: Mapping[str, Any]) -> bool:
    """
    Whether a sheet holds so much that it has to be measured before it is set, which takes time.

    Parameters
    ----------
    sheet
        What a sheet is set from.
    """

    def lines(texts: Sequence[str], letters: int) -> int:
        return sum(-(-len(text) // letters) for text in texts)

    if any(len(sheet[name]) > most for name, most in _ROOM.items()):
        return True
    valve = [] if sheet["valve"] is None else sheet["valve"]["lines"]
    side = lines([*valve, *(t for panel in sheet["beside"] for t in panel["lines"])], _SIDE)
    left = lines(sheet["parts"], _HALF) + lines([t[0] for t in sheet["torque"]], _HALF)
    least = _PARTS + 1 if sheet["kind"] == "measure" else _PARTS
    words = lines([sheet["why"], sheet["note"], sheet["mind"]], _WHOLE)
    return max(left, least) + max(side - _BESIDE, 0) + words > _LINES
