"""
How one hydrant, explained, looks on a screen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.cli.talk import grid, put

if TYPE_CHECKING:
    from typing import Any

    from hydrantgis.job import Checked, Explained


def explained_json(told: Explained) -> dict[str, Any]:
    """The explanation as JSON would have it."""
    import json

    def rows(frame: pd.DataFrame) -> Any:  # noqa: ANN401 - JSON holds anything
        return json.loads(frame.to_json(orient="records", date_format="iso"))

    return {
        "hydrant": rows(pd.DataFrame([told.hydrant]).drop(columns="geometry"))[0],
        "checked": rows(pd.DataFrame([told.checked]).drop(columns="geometry"))[0],
        "readings": rows(told.readings), "kits_for": told.kits_for,
        "alternatives": rows(told.alternatives), "notes": list(told.notes),
    }  # fmt: skip


def _day(value: pd.Timestamp) -> str:
    return "no day" if pd.isna(value) else f"{value:%Y-%m-%d}"


def _number(value: float, form: str = "g", unit: str = "in") -> str:
    return "" if pd.isna(value) else f"{value:{form}} {unit}".rstrip()


def put_explained(told: Explained, result: Checked) -> None:
    """Write the explanation: hydrant, readings, rule, what can be tried, what is chosen."""
    hydrant, checked = told.hydrant, told.checked
    put(f"Hydrant {hydrant['hydrant_id']}")
    facts = [
        ("address", hydrant["address"]), ("family", hydrant["family"]),
        ("barrel", hydrant["barrel"]), ("status", hydrant["status"]),
        ("main valve", _number(hydrant["main_valve_in"])),
        ("bury", _number(hydrant["bury_ft"], unit="ft")),
        ("extension in it", _number(hydrant["installed_extension_in"])),
    ]  # fmt: skip
    grid([(name, value) for name, value in facts if not pd.isna(value) and value != ""])
    put(f"Rule {result.rule.rule_id}: {result.rule}")
    put()
    _put_readings(told.readings)
    put()
    verdict = "not judged" if pd.isna(checked["verdict"]) else checked["verdict"]
    put(f"Verdict: {verdict}{' (marginal)' if checked['marginal'] else ''}")
    if not pd.isna(checked["outlet_height_in"]):
        put(
            f"  {checked['outlet_height_in']:.2f} in, standard uncertainty "
            f"{checked['height_sd_in']:.2f} in"
            + (
                ""
                if pd.isna(checked["p_inside"])
                else f"; inside with {checked['p_inside']:.0%}, below with "
                f"{checked['p_low']:.0%}, above with {checked['p_high']:.0%}"
            )
        )
        put(f"  rests on: {checked['height_basis']}")
    if not pd.isna(checked["flange_verdict"]):
        flange = _number(checked["flange_height_in"], ".2f") or "not measured"
        put(f"  flange {flange}: {checked['flange_verdict']}; {result.rule.flange} is allowed")
    put()
    put(f"Kits {result.kits.catalogue_id}: {told.kits_for}; {result.kits.house}")
    _put_alternatives(told.alternatives)
    put()
    kit = "" if pd.isna(checked["kit_id"]) else f" {checked['kit_id']}"
    put(f"Remedy: {checked['remedy']}{kit}")
    put(f"  {checked['remedy_reason']}")
    if not pd.isna(checked["outlet_height_after_in"]):
        flange = _number(checked["flange_height_after_in"], ".2f")
        put(
            f"  outlet then at {checked['outlet_height_after_in']:.2f} in"
            + (f", flange at {flange}" if flange else "")
        )
    if not pd.isna(checked["bury_after_ft"]):
        put(f"  bury {checked['bury_ft']:g} ft before, {checked['bury_after_ft']:g} ft after")
    for note in told.notes:
        put(f"  note: {note}")


def _put_readings(readings: pd.DataFrame) -> None:
    if not len(readings):
        put("Readings: none")
        return
    rows = [("Readings", "measured to", "height", "+/-", "rests on", "")]
    for row in readings.to_dict("records"):
        said = [
            "stands" if row["stands"] else "",
            "screening" if row["screening"] and not pd.isna(row["height_in"]) else "",
            "" if pd.isna(row["why_not"]) else row["why_not"],
        ]
        rows.append(
            (_day(row["reading_date"]), str(row["measured_to"]), _number(row["height_in"], ".2f"),
             _number(row["sd_in"], ".2f") if not pd.isna(row["height_in"]) else "",
             str(row["basis"]), ", ".join(word for word in said if word))
        )  # fmt: skip
    grid(rows, right=(2, 3), indent=0)


def _put_alternatives(options: pd.DataFrame) -> None:
    if not len(options):
        put("  nothing can be tried")
        return
    rows = [("", "kit", "", "outlet", "", "flange", "", "inside with", "")]
    marks = {True: "ok", False: "out"}
    for row in options.to_dict("records"):
        flange = row["flange_inside"]
        rows.append(
            (
                "->" if row["chosen"] else "",
                "none" if pd.isna(row["kit_id"]) else row["kit_id"],
                f"{row['change']}, {row['raise_in']:+g} in",
                f"{row['outlet_height_after_in']:.2f} in", marks[bool(row["outlet_inside"])],
                _number(row["flange_height_after_in"], ".2f") or "?",
                "" if pd.isna(flange) else marks[bool(flange)],
                "" if pd.isna(row["p_inside_after"]) else f"{row['p_inside_after']:.0%}",
                "" if pd.isna(row["against"]) else row["against"],
            )
        )  # fmt: skip
    grid(rows, right=(3, 5, 7))
