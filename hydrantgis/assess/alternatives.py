"""
Everything that can be tried at hydrants: where outlet and flange end, and what is against it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.assess.families import allowance_of, family_of
from hydrantgis.assess.options import choose, options
from hydrantgis.assess.verdict import chances
from hydrantgis.ground.results import ALTERNATIVES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hydrantgis.assess.options import Options
    from hydrantgis.standards.kits import Family, HouseRules, KitCatalogue
    from hydrantgis.standards.rules import HeightRule


def alternatives(
    hydrants: pd.DataFrame,
    basis: pd.DataFrame,
    *,
    rule: HeightRule,
    kits: KitCatalogue,
    area_ids: pd.Series | None = None,
) -> pd.DataFrame:
    """
    The `alternatives` table: every change that can be tried at each hydrant.

    Parameters
    ----------
    hydrants
        The `hydrants` table, or some of its rows.
    basis
        Their heights, from `hydrantgis.heights.basis.basis_heights`, same order.
    rule, kits
        Height rule; kits with the house rules.
    area_ids
        Their areas, for the allowances, same order.

    Returns
    -------
    alternatives
        In the order of the hydrants. Without a height or a family of kits nothing can be tried, and
        there is no row. `chosen` is what the check takes where the hydrant stands wrong and was
        measured by contact.
    """
    at = family_of(hydrants, kits.families).family
    known = basis["outlet_height_in"].notna().to_numpy()
    moves = allowance_of(area_ids, kits.house.allowances, len(hydrants))
    parts = []
    for place in sorted(set(at[(at >= 0) & known].tolist())):  # a handful of families
        rows = np.flatnonzero((at == place) & known)
        parts.append(
            _of_family(
                hydrants.iloc[rows], basis.iloc[rows], moves[rows], rows, rule=rule,
                family=kits.families[place], house=kits.house,
            )
        )  # fmt: skip
    if not parts:
        return ALTERNATIVES.empty()
    frame = pd.concat(parts, ignore_index=True).sort_values("row", kind="stable")
    return ALTERNATIVES.conform(frame.reset_index(drop=True))


def _of_family(
    hydrants: pd.DataFrame,
    basis: pd.DataFrame,
    moves: NDArray[np.float64],
    rows: NDArray[np.intp],
    *,
    rule: HeightRule,
    family: Family,
    house: HouseRules,
) -> pd.DataFrame:
    """The alternatives of hydrants of one family, with the row that each belongs to."""
    y, sd, f = (
        basis[name].to_numpy(dtype=np.float64)
        for name in ("outlet_height_in", "height_sd_in", "flange_height_in")
    )
    e = hydrants["installed_extension_in"].fillna(0.0).to_numpy(dtype=np.float64)
    shelf = [not house.stock_only or (kit.on_hand or 0) > 0 for kit in family.kits]
    lengths = [kit.length_in for kit in family.kits]
    told = options(y, f, e, lengths, rule=rule, house=house, allowance_in=moves, on_shelf=shelf)
    chosen = choose(told, rule=rule, house=house, sd_in=sd)
    n, c = told.raises.shape
    place = np.broadcast_to(np.arange(c), (n, c))
    kit = np.broadcast_to(told.kit, (n, c))
    put = np.where(place > len(lengths), "on top of the kit in it", "in its place")
    words = np.where(kit < 0, "take the kit out", np.where(e[:, None] > 0, put, "fit"))
    ids = np.array([None, *(k.kit_id for k in family.kits)], dtype=object)
    window = rule.window
    p = chances(told.outlet_in, sd[:, None], lo_in=window.lo_in, hi_in=window.hi_in)
    bury = hydrants["bury_ft"].to_numpy(dtype=np.float64)[:, None] + told.raises / 12.0
    flange = pd.Series(told.flange.ravel(), dtype="boolean").mask(np.isnan(told.flange_in).ravel())
    frame = pd.DataFrame(
        {
            "row": np.repeat(rows, c),
            "hydrant_id": np.repeat(hydrants["hydrant_id"].to_numpy(dtype=object), c),
            "change": words.ravel(),
            "kit_id": ids[kit + 1].ravel(),
            "kit_length_in": np.array([np.nan, *lengths])[kit + 1].ravel(),
            "raise_in": told.raises.ravel(),
            "outlet_height_after_in": told.outlet_in.ravel(),
            "outlet_inside": told.outlet.ravel(),
            "flange_height_after_in": told.flange_in.ravel(),
            "flange_inside": flange,
            "p_inside_after": p.inside.ravel(),
            "bury_after_ft": bury.ravel(),
            "fits": told.fits.ravel(),
            "chosen": (place == chosen[:, None]).ravel(),
            "against": _against(told),
        }
    )
    return frame[~np.isnan(told.raises.ravel())]


def _against(told: Options) -> NDArray[np.object_]:
    """What is against each option, in words, hydrant by hydrant; None where nothing is."""
    shape = told.raises.shape
    tests = (
        (told.outlet, "outlet outside"),
        (told.flange, "flange outside"),
        (told.later | ~told.outlet | ~told.flange, "outside when the ground has moved"),
        (told.house, "house rule"),
        (np.broadcast_to(told.shelf, shape), "none on the shelf"),
    )
    said = np.full(shape, "", dtype=object)
    for passed, words in tests:
        more = np.where(said == "", words, said + ("; " + words))
        said = np.where(passed, said, more)
    said[said == ""] = None
    return said.ravel()
