"""
What holds for surveys alone: a reading needs a hydrant and a height, a shot an elevation.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import UnitError, some
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.identity import content_ids
from hydrantgis.ground.tables import READINGS, SHOTS_ON_HYDRANT
from hydrantgis.ground.text import fill
from hydrantgis.ground.units import METRES, LengthUnit, parse_length_in
from hydrantgis.intake.cells import codes_of_shots
from hydrantgis.intake.descriptions import hydrant_id_in, shot_kind
from hydrantgis.standards.methods import SUSPICIOUS_IN

if TYPE_CHECKING:
    import datetime as dt

    import pyproj

    from hydrantgis.intake.ledger import Ledger
    from hydrantgis.intake.words import IntakeWords

DISAGREE_IN = 1.0
"""A height and the elevations beside it that differ by more than this are told. [in]"""
_LEAST_ELEV_FT = -1500.0
_OUTLET_WORDS = {"hose": r"\bhose\b", "pumper": r"\b(?:pumper|steamer)\b"}


def settle_readings(
    frame: pd.DataFrame,
    ledger: Ledger,
    words: IntakeWords,
    known: pd.Series | None,
    today: dt.date,
) -> None:
    """Readings need a known hydrant and a height; their id follows from what they say."""
    for method, text in words.method_sd.items():
        bare = (frame["method"] == method) & frame["height_sd_in"].isna()
        frame.loc[bare, "height_sd_in"] = parse_length_in(text, unit=None)[0]
    elevations = ("outlet_elev_ft", "grade_elev_ft", "flange_elev_ft", "curb_elev_ft")
    for name in elevations:
        mark = frame[name].notna() & ((frame[name] <= _LEAST_ELEV_FT) | (frame[name] == 0))
        ledger.notes.append(
            findings(
                "sentinel-value", table="readings", keys=frame.index[mark], column=name,
                values=fill("{v}", v=frame[name][mark].to_numpy()),
                messages="0 or far below the sea: not an elevation; left blank",
            )
        )  # fmt: skip
        frame.loc[mark, name] = np.nan
    sure = frame["height_sd_in"] == 0
    ledger.notes.append(
        findings(
            "sentinel-value", table="readings", keys=frame.index[sure], column="height_sd_in",
            values="0", messages="no height is that sure; left blank",
        )
    )  # fmt: skip
    frame.loc[sure, "height_sd_in"] = np.nan
    height, elev = frame["outlet_height_in"], frame["outlet_elev_ft"]
    told = join_findings(*ledger.notes)
    unread = told[(told["code"] == "value-unreadable") & (told["column"] == "outlet_height_in")]
    cell = pd.Series(frame.index.astype("str").isin(unread["key"]), index=frame.index)
    ledger.put_aside(cell & elev.isna(), "held", "value-unreadable", message=None)
    ledger.put_aside(frame["hydrant_id"].isna(), "held", "id-missing", "no `hydrant_id`")
    if known is not None:
        stranger = frame["hydrant_id"].notna() & ~frame["hydrant_id"].isin(known)
        ledger.put_aside(stranger, "held", "unknown-hydrant", "this hydrant is not in the register")
    ledger.put_aside(
        height.isna() & elev.isna(), "rejected", "no-height", "neither height nor elevation"
    )
    late = frame["reading_date"] > pd.Timestamp(today)
    ledger.put_aside(late, "held", "date-in-future", message=None)
    apart = (height - (elev - frame["grade_elev_ft"]) * 12.0).abs() > DISAGREE_IN
    ledger.notes.append(
        findings(
            "height-and-elevations-differ", table="readings", keys=frame.index[apart],
            column="outlet_height_in", values=fill("{v}", v=height[apart].to_numpy()),
        )
    )  # fmt: skip
    rare = height.notna() & ~height.between(*SUSPICIOUS_IN) & (ledger.outcome == "accepted")
    ledger.notes.append(
        findings(
            "height-suspicious", table="readings", keys=frame.index[rare],
            column="outlet_height_in", values=fill("{v}", v=height[rare].to_numpy()),
            messages="outlets rarely stand outside {:g} to {:g} in".format(*SUSPICIOUS_IN),
        )
    )  # fmt: skip
    unsure = told[(told["column"] == "reading_date") & told["message"].str.contains("--date-order")]
    if len(unsure):
        raise UnitError(
            "dates of the readings may be read both ways",
            found=some(unsure["value"].unique().tolist()),
            accepted="mdy or dmy",
            do="say --date-order",
        )
    for name, do in (
        ("measured_to", "--measured-to, for example pumper-centerline"),
        ("measured_from", "--measured-from, for example grade"),
        ("method", "--method, for example tape"),
    ):
        # a word that is not known holds its row; it does not stop the others
        odd = told[(told["code"] == "value-not-allowed") & (told["column"] == name)]
        word = pd.Series(frame.index.astype("str").isin(odd["key"]), index=frame.index)
        ledger.put_aside(word, "held", "value-not-allowed", message=None)
        needed = height.notna() if name == "measured_from" else height.notna() | elev.notna()
        needed &= ledger.outcome == "accepted"
        if frame.loc[needed, name].isna().any():
            raise UnitError(
                f"the readings do not say `{name}`",
                found=f"{int(frame.loc[needed, name].isna().sum()):,} rows without it",
                accepted=", ".join(READINGS[name].allowed),
                do=f"name the field with --field {name}=FIELD, or say it for all with {do}",
            )
    frame.loc[height.isna() & elev.notna(), "measured_from"] = "grade"
    _need_datum(frame, frame[list(elevations)].notna().any(axis=1))
    frame["reading_id"] = content_ids(frame.drop(columns="reading_id"), "r")
    again = frame["reading_id"].duplicated(keep="first")
    ledger.put_aside(again, "rejected", "row-repeated", "the same reading stands further up")


def _need_datum(frame: pd.DataFrame, needed: pd.Series) -> None:
    missing = needed & frame["vertical_datum"].isna()
    if missing.any():
        raise UnitError(
            "there are elevations without a vertical datum",
            found=f"{int(missing.sum()):,} rows",
            accepted="its name, for example NAVD88",
            do="name the field with --field vertical_datum=FIELD, or say it for all with "
            "--vertical-datum NAME",
        )


def settle_shots(
    frame: pd.DataFrame,
    ledger: Ledger,
    words: IntakeWords,
    known: pd.Series | None,
    today: dt.date,
    crs: pyproj.CRS | None,
) -> None:
    """
    Shots need an elevation and a datum.

    What they stand on, and the hydrant that they name, is read from the description where no field
    tells it; a shot on an outlet is one of the point that its code or the user says.
    """
    elev = frame["elev_ft"]
    mark = elev.notna() & ((elev <= _LEAST_ELEV_FT) | (elev == 0))
    ledger.put_aside(
        mark, "rejected", "shot-implausible", "0 or far below the sea: not an elevation"
    )
    ledger.put_aside(elev.isna(), "rejected", "value-missing", "no elevation")
    _need_datum(frame, elev.notna())
    late = frame["shot_date"] > pd.Timestamp(today)
    ledger.put_aside(late, "held", "date-in-future", message=None)
    ledger.notes.append(_other_unit(words.units.get("elev_ft"), crs))
    bare = frame["elev_sd_ft"].isna() & elev.notna()
    if bare.any():
        ledger.notes.append(
            findings(
                "elev-sd-assumed", table="shots", keys=["(several)"], column="elev_sd_ft",
                values=[f"{int(bare.sum()):,} shots"],
            )
        )  # fmt: skip
    kinds, noticed = shot_kind(frame["description"], codes_of_shots(words))
    if frame["shot_code"].isna().any():
        ledger.notes.append(noticed)
    told = kinds.astype("str").replace("unknown", "other")
    frame["shot_code"] = frame["shot_code"].fillna(told)
    _name_hydrants(frame, ledger, known)
    _say_points(frame, ledger)
    other = frame["shot_code"] == "other"
    if other.any():
        ledger.notes.append(
            findings(
                "shot-code-unknown", table="shots", keys=["(several)"], column="shot_code",
                values=[some(frame["description"][other].dropna().unique().tolist(), 5)],
                messages=f"{int(other.sum()):,} shots tell no code that is known; they are kept "
                "and not used as ground",
            )
        )  # fmt: skip


def _other_unit(said: object, crs: pyproj.CRS | None) -> pd.DataFrame:
    """A finding where elevations are said in feet and places are in metres, or the reverse."""
    if not isinstance(said, LengthUnit) or crs is None or not crs.is_projected:
        return no_findings()
    axis = crs.axis_info[0]
    ratio = axis.unit_conversion_factor / float(METRES[said])
    if 0.5 < ratio < 2.0:
        return no_findings()
    return findings(
        "elev-unit-differs",
        table="shots",
        keys=["(all)"],
        column="elev_ft",
        values=[said.value],
        messages=f"elevations are in {said.value}, and {crs.name} is in {axis.unit_name}",
    )


def _name_hydrants(frame: pd.DataFrame, ledger: Ledger, known: pd.Series | None) -> None:
    """The hydrant that a description names, where no field does; one that is not known is told."""
    if known is None:
        return
    on = frame["shot_code"].isin(SHOTS_ON_HYDRANT) & frame["hydrant_id"].isna()
    if on.any():  # ids are many, and most surveys are of ground alone
        named, why = hydrant_id_in(frame["description"][on], known)
        frame.loc[on, "hydrant_id"] = named
        unsure = why.notna()
        ledger.notes.append(
            findings(
                "shot-name-unsure", table="shots", keys=unsure.index[unsure], column="hydrant_id",
                values=frame["description"][on][unsure], messages=why[unsure].tolist(),
            )
        )  # fmt: skip
    stranger = frame["hydrant_id"].notna() & ~frame["hydrant_id"].isin(known)
    ledger.put_aside(stranger, "held", "unknown-hydrant", "this hydrant is not in the register")


def _say_points(frame: pd.DataFrame, ledger: Ledger) -> None:
    """Which point of which outlet a shot tells: what is said for all, as far as the code allows."""
    outlet = frame["shot_code"].str.startswith("outlet")
    said = frame["measured_to"].where(outlet)
    which = said.str.rpartition("-")[0].where(said.notna(), "any")
    for point in ("centerline", "bottom"):
        coded = frame["shot_code"] == f"outlet-{point}"
        said = said.mask(coded, which + f"-{point}")
    frame["measured_to"] = said.astype("str")
    # what the crew wrote against what was said for all
    words = frame["description"].str.lower()
    for name, pattern in _OUTLET_WORDS.items():
        other = said.str.startswith(tuple(o for o in _OUTLET_WORDS if o != name)).fillna(
            value=False
        )
        differ = outlet & other & words.str.contains(pattern, na=False)
        ledger.notes.append(
            findings(
                "outlet-words-differ", table="shots", keys=frame.index[differ],
                column="measured_to", values=frame["description"][differ],
                messages=fill("taken as {said}", said=said[differ].to_numpy(dtype=object)),
            )
        )  # fmt: skip
    bare = outlet & said.isna() & (ledger.outcome == "accepted")
    ledger.notes.append(
        findings(
            "outlet-unsaid", table="shots", keys=frame.index[bare], column="measured_to",
            values=frame["description"][bare],
        )
    )  # fmt: skip
