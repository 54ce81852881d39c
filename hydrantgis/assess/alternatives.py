"""
Everything that can be tried at one hydrant: where outlet and flange end, and what is against it.
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
    from hydrantgis.assess.options import Options
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.rules import HeightRule


def alternatives(
    hydrant: pd.DataFrame,
    basis: pd.DataFrame,
    *,
    rule: HeightRule,
    kits: KitCatalogue,
    area_id: pd.Series | None = None,
) -> pd.DataFrame:
    """
    The `alternatives` table of one hydrant: as it stands, then every change.

    Parameters
    ----------
    hydrant
        Its row of the `hydrants` table.
    basis
        Its row of `hydrantgis.heights.basis.basis_heights`.
    rule, kits
        Height rule; kits with the house rules.
    area_id
        Its area, for the allowance; shape (1,).

    Returns
    -------
    alternatives
        Without a height or a family of kits nothing can be tried, and there is no row. `chosen` is
        what the check takes where the hydrant stands wrong and was measured by contact.
    """
    at = family_of(hydrant, kits.families).family
    y, sd, f = (
        basis[name].to_numpy(dtype=np.float64)
        for name in ("outlet_height_in", "height_sd_in", "flange_height_in")
    )
    if at[0] < 0 or np.isnan(y[0]):
        return ALTERNATIVES.empty()
    family, house = kits.families[at[0]], kits.house
    e = hydrant["installed_extension_in"].fillna(0.0).to_numpy(dtype=np.float64)
    moves = allowance_of(area_id, house.allowances, 1)
    shelf = [not house.stock_only or (kit.on_hand or 0) > 0 for kit in family.kits]
    lengths = [kit.length_in for kit in family.kits]
    told = options(y, f, e, lengths, rule=rule, house=house, allowance_in=moves, on_shelf=shelf)
    chosen = choose(told, rule=rule, house=house, sd_in=sd)[0]
    c = len(told.kit)
    ids = np.array([None, *(kit.kit_id for kit in family.kits)], dtype=object)[told.kit + 1]
    place = np.arange(c)
    on_top = place > len(lengths)
    words = np.where(on_top, "on top of the kit in it", "in its place" if e[0] else "fit")
    change = np.where(told.kit < 0, "take the kit out", words)
    window = rule.window
    p = chances(told.outlet_in[0], np.full(c, sd[0]), lo_in=window.lo_in, hi_in=window.hi_in)
    bury = hydrant["bury_ft"].to_numpy(dtype=np.float64)[0] + told.raises[0] / 12.0
    rows = pd.DataFrame(
        {
            "hydrant_id": hydrant["hydrant_id"].iloc[0],
            "change": change,
            "kit_id": ids,
            "kit_length_in": np.array([np.nan, *lengths])[told.kit + 1],
            "raise_in": told.raises[0],
            "outlet_height_after_in": told.outlet_in[0],
            "outlet_inside": told.outlet[0],
            "flange_height_after_in": told.flange_in[0],
            "flange_inside": pd.array(told.flange[0], "boolean"),
            "p_inside_after": p.inside,
            "bury_after_ft": bury,
            "fits": told.fits[0],
            "chosen": place == chosen,
            "against": _against(told),
        }
    )
    rows["flange_inside"] = rows["flange_inside"].mask(np.isnan(told.flange_in[0]))
    return ALTERNATIVES.conform(rows[~np.isnan(told.raises[0])].reset_index(drop=True))


def _against(told: Options) -> list[str | None]:
    """What is against each option, in words."""
    tests = (
        (told.outlet[0], "outlet outside"),
        (told.flange[0], "flange outside"),
        (told.later[0] | ~told.outlet[0] | ~told.flange[0], "outside when the ground has moved"),
        (told.house[0], "house rule"),
        (told.shelf, "none on the shelf"),
    )
    said = [
        "; ".join(words for passed, words in tests if not passed[option])
        for option in range(len(told.kit))
    ]
    return [words or None for words in said]
