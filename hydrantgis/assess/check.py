"""
The check: height, verdict and remedy of every hydrant under one rule, as one table.

This is the table face of `hydrantgis.assess.verdict` and `hydrantgis.assess.remedy`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.assess.bury import bury_notes
from hydrantgis.assess.families import allowance_of, family_of
from hydrantgis.assess.reasons import NO_KITS, REASONS
from hydrantgis.assess.remedy import Remedies, remedies_of_family
from hydrantgis.assess.verdict import chances, flange_verdicts, undecidable, verdicts
from hydrantgis.ground.findings import CODES, findings, join_findings
from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.rules import HeightRule


def not_judged(hydrants: pd.DataFrame) -> NDArray[np.bool_]:
    """
    Hydrants that no height rule for dry barrels is held against, shape (n,).

    Examples
    --------
    >>> not_judged(pd.DataFrame({"barrel": ["dry", "wet"], "status": ["retired", None]})).tolist()
    [True, True]
    """
    other = hydrants["barrel"].isin(["wet", "other"])
    return (other | (hydrants["status"] == "retired")).to_numpy(dtype=bool)


def _remedies(
    hydrants: pd.DataFrame,
    basis: pd.DataFrame,
    verdict: NDArray[np.object_],
    flange_verdict: NDArray[np.object_],
    skip: NDArray[np.bool_],
    rule: HeightRule,
    kits: KitCatalogue,
    area_ids: pd.Series | None,
) -> tuple[Remedies, NDArray[np.object_], NDArray[np.float64]]:
    """Remedies, kit ids and kit lengths, a value a hydrant."""
    n = len(hydrants)
    result = Remedies.blank(n)
    kit_id, kit_length = np.full(n, None, dtype=object), np.full(n, np.nan)

    def say(where: NDArray[np.bool_], remedy: str, code: str, sentence: object = None) -> None:
        result.remedy[where], result.code[where] = remedy, code
        result.sentence[where] = REASONS[code] if sentence is None else sentence

    wrong = np.isin(verdict, ["low", "high"]) | np.isin(flange_verdict, ["low", "high"])
    wrong &= ~np.isin(verdict, ["unmeasured", "unresolved"]) & ~skip
    screening = basis["screening"].to_numpy(dtype=bool)
    say(verdict == "unmeasured", "measure", "not-measured")
    say(verdict == "unresolved", "measure", "undecided")
    window = rule.window
    sd = basis["height_sd_in"].to_numpy(dtype=np.float64)
    hopeless = (verdict == "unresolved") & undecidable(
        sd, lo_in=window.lo_in, hi_in=window.hi_in, confidence=rule.confidence
    )
    sentence = fill(
        REASONS["undecidable"] + ": no height could be told inside {w} with a standard uncertainty "
        "of {sd} in", w=str(window), sd=sd[hopeless],
    )  # fmt: skip
    say(hopeless, "measure", "undecidable", sentence)
    # where a reading does not answer the rule, the reason is the finding's own
    told = (verdict == "unresolved") & basis["why_not"].notna().to_numpy()
    why = basis["why_not"].to_numpy(dtype=object)[told]
    result.code[told], result.sentence[told] = why, [CODES[code].meaning for code in why]
    say(wrong & screening, "measure", "screening-only")
    barrel = hydrants["barrel"].to_numpy(dtype=object, na_value="")
    say(skip, "none", "retired")
    say(skip & (barrel == "other"), "none", "other-barrel")
    say(skip & (barrel == "wet"), "none", "wet-barrel")

    y = basis["outlet_height_in"].to_numpy(dtype=np.float64)
    f = basis["flange_height_in"].to_numpy(dtype=np.float64)
    e = hydrants["installed_extension_in"].fillna(0.0).to_numpy(dtype=np.float64)
    todo = np.flatnonzero(wrong & ~screening)
    at, why_none = family_of(hydrants.iloc[todo], kits.families)
    bury = hydrants["bury_ft"].to_numpy(dtype=np.float64)
    shortest = np.nan if kits.shortest_bury_ft is None else kits.shortest_bury_ft
    least = np.minimum((shortest - bury) * 12.0, 0.0)
    moves = allowance_of(area_ids, kits.house.allowances, n)
    without = np.where(at < 0, why_none, "")
    for place, reason in sorted(set(zip(at.tolist(), without.tolist(), strict=True))):
        # a handful of families, each done at once
        rows = todo[(at == place) & (without == reason)]
        family = kits.families[place] if place >= 0 else None
        part = remedies_of_family(
            y[rows], f[rows], e[rows], sd_in=sd[rows], allowance_in=moves[rows], no_kits=reason,
            least_bury_raise_in=least[rows],
            family=family, rule=rule, house=kits.house, bury_step_in=kits.bury_step_ft * 12.0,
        )  # fmt: skip
        if family is None:
            _name_family(part, hydrants.iloc[rows])
        result.put(rows, part)
        if family is not None:
            fitted = part.kit >= 0
            kit_id[rows[fitted]] = np.array([k.kit_id for k in family.kits])[part.kit[fitted]]
            kit_length[rows[fitted]] = np.array([k.length_in for k in family.kits])[
                part.kit[fitted]
            ]
    return result, kit_id, kit_length


def _name_family(part: Remedies, hydrants: pd.DataFrame) -> None:
    """Say of which family, main valve and year there are no kits."""
    bare = np.isin(part.code, NO_KITS)
    if not bare.any():
        return
    rows = hydrants[bare]
    family = rows["family"].where(rows["family"].notna(), "none recorded")
    valve = fill("{v} in", v=rows["main_valve_in"].to_numpy(dtype=np.float64, na_value=np.nan))
    year = rows["install_date"].dt.strftime("%Y")
    part.sentence[bare] = fill(
        "{words}: family {family}, main valve {valve}, made {year}", words=part.sentence[bare],
        family=family, valve=np.where(rows["main_valve_in"].isna(), "not recorded", valve),
        year=year.where(year.notna(), "not recorded"),
    )  # fmt: skip


def check(
    hydrants: gpd.GeoDataFrame,
    basis: pd.DataFrame,
    *,
    rule: HeightRule,
    kits: KitCatalogue,
    area_ids: pd.Series | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """
    Verdict and remedy of every hydrant.

    Parameters
    ----------
    hydrants
        The `hydrants` table.
    basis
        Their heights, same index, from `hydrantgis.heights.basis.basis_heights`.
    rule
        The height rule.
    kits
        The kit catalogue with its house rules.
    area_ids
        The area of each hydrant, same index.

    Returns
    -------
    checked
        The `checked` table, same index and order.
    findings
        Hydrants not judged, barrels not recorded, burys beyond the stated torque.
    """
    y = basis["outlet_height_in"].to_numpy(dtype=np.float64)
    sd = basis["height_sd_in"].to_numpy(dtype=np.float64)
    lo, hi = rule.window.lo_in, rule.window.hi_in
    screening = basis["screening"].to_numpy(dtype=bool)
    verdict, marginal = verdicts(
        y, sd, lo_in=lo, hi_in=hi, resolution_in=rule.resolution_in,
        guarded=screening | (rule.decision == "guarded"), confidence=rule.confidence,
    )  # fmt: skip
    verdict[basis["why_not"].notna().to_numpy()] = "unresolved"
    flange = basis["flange_height_in"].to_numpy(dtype=np.float64)
    if rule.flange.limited:
        flange_verdict = flange_verdicts(
            flange, lo_in=rule.flange.lo_in, hi_in=rule.flange.hi_in,
            resolution_in=rule.resolution_in,
        )  # fmt: skip
    else:
        flange_verdict = np.full(len(y), None, dtype=object)
    skip = not_judged(hydrants)
    verdict[skip] = None
    flange_verdict[skip] = None
    p = chances(y, sd, lo_in=lo, hi_in=hi)
    remedies, kit_id, kit_length = _remedies(
        hydrants, basis, verdict, flange_verdict, skip, rule, kits, area_ids
    )
    raised = np.nan_to_num(remedies.raise_in)
    done = ~np.isnan(remedies.raise_in)
    gain = 0.0 if rule.datum == "flange-bottom" else 1.0
    bury = hydrants["bury_ft"].to_numpy(dtype=np.float64)
    low, high = verdict == "low", verdict == "high"

    def where_judged(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(skip, np.nan, values)

    frame = pd.DataFrame(
        {
            "hydrant_id": hydrants["hydrant_id"],
            "area_id": None if area_ids is None else area_ids,
            "outlet_height_in": y,
            "height_sd_in": sd,
            "height_basis": basis["height_basis"],
            "reading_date": basis["reading_date"],
            "rule_id": rule.rule_id,
            "window_lo_in": lo if np.isfinite(lo) else np.nan,
            "window_hi_in": hi if np.isfinite(hi) else np.nan,
            "verdict": verdict,
            "marginal": marginal & ~skip,
            "p_inside": where_judged(p.inside),
            "p_low": where_judged(p.low),
            "p_high": where_judged(p.high),
            "shortfall_in": np.where(np.isnan(y) | skip, np.nan, np.where(low, lo - y, 0.0)),
            "excess_in": np.where(np.isnan(y) | skip, np.nan, np.where(high, y - hi, 0.0)),
            "flange_height_in": flange,
            "flange_verdict": flange_verdict,
            "remedy": remedies.remedy,
            "remedy_reason": fill(
                "{code}: {sentence}", code=remedies.code, sentence=remedies.sentence
            ),
            "kit_id": kit_id,
            "kit_length_in": kit_length,
            "raise_in": remedies.raise_in,
            "outlet_height_after_in": np.where(done, y + gain * raised, np.nan),
            "flange_height_after_in": np.where(done, flange + raised, np.nan),
            "bury_ft": bury,
            "bury_after_ft": np.where(done, bury + raised / 12.0, np.nan),
            "installed_extension_in": hydrants["installed_extension_in"],
        },
        index=hydrants.index,
    )
    geometry = gpd.GeoDataFrame(frame, geometry=hydrants.geometry, crs=hydrants.crs)
    checked = CHECKED.conform(geometry)
    return checked, _notices(hydrants, checked, skip)  # type: ignore[return-value]


def _notices(
    hydrants: pd.DataFrame, checked: pd.DataFrame, skip: NDArray[np.bool_]
) -> pd.DataFrame:
    ids = hydrants["hydrant_id"]
    retired = (hydrants["status"] == "retired").to_numpy()
    kind = skip & ~retired
    unknown = int((hydrants["barrel"].isna() & ~skip).sum())
    found = [
        findings("retired", table="hydrants", keys=ids[retired], column="status"),
        findings(
            "not-dry-barrel", table="hydrants", keys=ids[kind], column="barrel",
            values=hydrants["barrel"][kind],
        ),
    ]  # fmt: skip
    if unknown:
        found.append(
            findings(
                "barrel-unknown",
                table="hydrants",
                keys=["(all)" if unknown == len(hydrants) else "(several)"],
                column="barrel",
                messages=f"{unknown:,} hydrants have no barrel type; judged as dry barrels",
            )
        )
    bare = int((hydrants["installed_extension_in"].isna() & ~skip).sum())
    if bare:
        found.append(
            findings(
                "extension-unknown",
                table="hydrants",
                keys=["(all)" if bare == len(hydrants) else "(several)"],
                column="installed_extension_in",
                messages=f"{bare:,} hydrants do not tell of a kit in them; judged as having none",
            )
        )
    for code, rows in bury_notes(checked).items():
        if rows.any():
            found.append(
                findings(
                    code, table="checked", keys=["(several)"], column="bury_after_ft",
                    values=[f"{int(rows.sum()):,} hydrants"],
                )
            )  # fmt: skip
    return join_findings(*found)
