"""
Why a remedy is what it is: a code, and a sentence with the numbers in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.assess.options import within
from hydrantgis.assess.verdict import rounded
from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from hydrantgis.assess.options import Options
    from hydrantgis.standards.kits import HouseRules
    from hydrantgis.standards.rules import HeightRule

REASONS = {
    "inside": "nothing to do",
    "kit-fits": "outlet and flange end inside their windows",
    "kit-fits-flange-unknown": "the outlet ends inside; measure the flange before ordering",
    "too-high": "stands too high, and no shorter kit brings it down",
    "window-narrower-than-step": "no kit ends inside the window",
    "longer-than-longest": "the longest kit does not reach the window",
    "house-longest-total": "only more than the house rule `longest total` allows would reach",
    "house-one-extension": "only a second kit would do, and the house rule is one per hydrant",
    "none-on-shelf": "a kit would fit and none of its length is on the shelf",
    "allowance": "a kit would fit now and not any more when the ground has moved as allowed for",
    "flange-outside": "the outlet stands right, the flange does not, and no kit puts both right",
    "flange-conflict": "every kit that is right for the outlet is wrong for the flange",
    "flange-datum": "a kit raises outlet and flange alike; from the flange nothing changes",
    "no-kit-for-family": "no kit in the catalogue fits this family",
    "kit-of-another-make": "the kits of this family are for another main valve or other years",
    "kit-make-unknown": "which kits of this family fit hangs on main valve or year, not recorded",
    "screening-only": "the height is a screening height; it orders no kit",
    "undecided": "the height cannot be told well enough",
    "undecidable": "undecidable with this survey",
    "not-measured": "there is no reading",
    "wet-barrel": "a wet barrel, with water up to its outlets: no kit of this kind goes in",
    "other-barrel": "no dry barrel: no kit of this kind goes in",
    "retired": "retired",
}
"""Every reason code, in words."""
NO_KITS = ("no-kit-for-family", "kit-of-another-make", "kit-make-unknown")
"""Reasons for which no kit could be tried at all."""

_TEMPLATES = {
    "flange-outside": (
        "the flange stands at {f} in where {flange} is allowed; no kit puts it right and keeps "
        "the outlet within {window}"
    ),
    "flange-conflict": (
        "raised {right} in the outlet is right at {right_y} in, and the flange would stand at "
        "{right_f} in where {flange} is allowed"
    ),
    "too-high": "stands {over} in above {hi} in; {kit}",
    "longer-than-longest": "{short} in short of {lo} in; kits raise {most} in at the most",
    "window-narrower-than-step": (
        "{before} it stands at {low_y} in, raised {high} in at {high_y}; the window is {window}"
    ),
    "house-longest-total": (
        "raised {beyond} in it would end at {beyond_y} in; the house rule is {longest} in of kits "
        "in all, and {e} in are in it"
    ),
    "house-one-extension": (
        "raised {second} in by a second kit on top of the {e} in one it would end at {second_y} "
        "in; the house rule is one per hydrant"
    ),
    "none-on-shelf": "raised {shelf} in it would end at {shelf_y} in; no such kit is on the shelf",
    "allowance": (
        "raised {now} in it ends at {now_y} in, and at {later_y} in when the ground has moved by "
        "{moves} in; the window is {window}"
    ),
}


def why_none(
    told: Options,
    height_in: NDArray[np.float64],
    flange_in: NDArray[np.float64],
    installed_in: NDArray[np.float64],
    lengths_in: NDArray[np.float64],
    *,
    rule: HeightRule,
    house: HouseRules,
    allowance_in: NDArray[np.float64],
) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """
    Reason and sentence of hydrants for which no option fits, shape (n,) each.

    Parameters
    ----------
    told
        What was tried, from `hydrantgis.assess.options.options`.
    height_in, flange_in, installed_in, lengths_in, rule, house, allowance_in
        From what it was made.
    """
    y, f, e = height_in, flange_in, installed_in
    window, step = rule.window, rule.resolution_in
    real, raises = told.real, np.where(told.real, told.raises, np.nan)
    after = np.where(real, told.outlet_in, np.nan)
    right = real & told.outlet
    longest = np.where(real, raises, -np.inf).max(axis=1, initial=-np.inf)
    at = rounded(y, step)
    short, high = at < window.lo_in, at > window.hi_in
    # kits that a house rule keeps out: in place of the one in it, and on top of it
    alone, on_top = lengths_in - e[:, None], np.where(e[:, None] > 0, lengths_in, np.nan)
    alone, on_top = (
        np.where(within(y[:, None] + up, window, step, unknown_is_inside=False), up, np.nan)
        for up in (alone, on_top)
    )
    second = ~np.isnan(on_top).all(axis=1)
    beyond = np.concatenate((alone, on_top if not house.one_extension else alone), axis=1)
    would = ~np.isnan(beyond).all(axis=1)
    both = right & told.flange
    code = np.select(
        [
            (both & told.later & ~told.shelf).any(axis=1),
            (both & ~told.later).any(axis=1),
            ~short & ~high,
            np.full(len(y), rule.datum == "flange-bottom"),
            right.any(axis=1),
            high & ~(after < window.lo_in).any(axis=1),
            would & short,
            (house.one_extension & second) & short,
            y + np.maximum(longest, 0.0) < window.lo_in,
        ],
        [
            "none-on-shelf",
            "allowance",
            "flange-outside",
            "flange-datum",
            "flange-conflict",
            "too-high",
            "house-longest-total",
            "house-one-extension",
            "longer-than-longest",
        ],
        "window-narrower-than-step",
    ).astype(object)

    def least(rows: NDArray[np.bool_], among: NDArray[np.float64] = raises) -> NDArray[np.float64]:
        """The smallest raise among some options; 0, the hydrant as it stands, where none is."""
        found = np.where(rows, among, np.inf).min(axis=1, initial=np.inf)
        return np.where(np.isinf(found), 0.0, found)

    # the last candidate below the window and the first above it
    below = np.where(after < window.lo_in, raises, -np.inf).max(axis=1, initial=-np.inf)
    low_side = np.where(np.isinf(below), 0.0, below)
    high_side, first = least(after > window.hi_in), least(right)
    shelf, now = least(both & told.later & ~told.shelf), least(both & ~told.later)
    longer, stacked = least(~np.isnan(beyond), beyond), least(~np.isnan(on_top), on_top)
    most_in_all = 0.0 if house.longest_total_in is None else house.longest_total_in
    out = fill("taking the {e} in kit out is not enough", e=e)
    values: dict[str, ArrayLike | str] = {
        "f": f, "flange": str(rule.flange), "window": str(window),
        "before": np.where(low_side == 0, "as it is", fill("raised {low} in", low=low_side)),
        "low_y": y + low_side, "high": high_side, "high_y": y + high_side,
        "right": first, "right_y": y + first, "right_f": f + first,
        "over": y - window.hi_in, "hi": np.full(len(y), window.hi_in),
        "kit": np.where(e > 0, out, "there is no kit to take out"),
        "short": window.lo_in - y, "lo": np.full(len(y), window.lo_in),
        "beyond": longer, "beyond_y": y + longer, "longest": np.full(len(y), most_in_all), "e": e,
        "second": stacked, "second_y": y + stacked,
        "most": np.maximum(longest, 0.0), "shelf": shelf, "shelf_y": y + shelf,
        "now": now, "now_y": y + now, "later_y": y + now - allowance_in, "moves": allowance_in,
    }  # fmt: skip
    sentence = np.array([REASONS[name] for name in code], dtype=object)
    for name, template in _TEMPLATES.items():
        rows = np.flatnonzero(code == name)
        if len(rows):
            of_rows = {
                k: v if isinstance(v, str) else np.asarray(v)[rows] for k, v in values.items()
            }
            sentence[rows] = fill(template, **of_rows)
    return code, sentence
