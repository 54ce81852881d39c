"""
Remedy: which kit puts a hydrant right, and what to do where none does.

An extension lies below the breakaway flange, so that outlet and flange rise alike, by the kit's
length less that of the kit it takes the place of. A kit fits where both end inside their windows.
Common practice, no source; the maker's parts and instructions govern.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.assess.verdict import rounded
from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from hydrantgis.standards.kits import Family, HouseRules
    from hydrantgis.standards.rules import HeightRule, Window

REASONS = {
    "inside": "nothing to do",
    "kit-fits": "outlet and flange end inside their windows",
    "kit-fits-flange-unknown": "the outlet ends inside; measure the flange before ordering",
    "too-high": "stands too high, and no shorter kit brings it down",
    "window-narrower-than-step": "no kit ends inside the window",
    "longer-than-longest": "the longest kit does not reach the window",
    "house-longest-total": "only more than the house rule `longest total` allows would reach",
    "house-one-extension": "only a second kit would do, and the house rule is one per hydrant",
    "flange-outside": "the outlet stands right, the flange does not, and no kit puts both right",
    "flange-conflict": "every kit that is right for the outlet is wrong for the flange",
    "flange-datum": "a kit raises outlet and flange alike; from the flange nothing changes",
    "no-kit-for-family": "no kit in the catalogue fits this family",
    "screening-only": "the height is a screening height; it orders no kit",
    "undecided": "the height cannot be told well enough",
    "undecidable": "undecidable with this survey",
    "not-measured": "there is no reading",
    "not-judged": "no dry barrel, or retired",
}
"""Every reason code, in words."""


@dataclass(slots=True)
class Remedies:
    """What to do at n hydrants; arrays of shape (n,), lengths missing where nothing is done."""

    remedy: NDArray[np.object_]
    code: NDArray[np.object_]
    sentence: NDArray[np.object_]
    kit: NDArray[np.intp]
    raise_in: NDArray[np.float64]

    @classmethod
    def blank(cls, n: int) -> Remedies:
        """Nothing to do anywhere, `kit` -1, before anything was decided."""
        return cls(
            remedy=np.full(n, "none", dtype=object),
            code=np.full(n, "inside", dtype=object),
            sentence=np.full(n, REASONS["inside"], dtype=object),
            kit=np.full(n, -1, dtype=np.intp),
            raise_in=np.full(n, np.nan),
        )

    def put(self, at: NDArray[np.intp], part: Remedies) -> None:
        """Write what was decided for the rows `at`."""
        for name in ("remedy", "code", "sentence", "kit", "raise_in"):
            getattr(self, name)[at] = getattr(part, name)


def _within(
    height: NDArray[np.float64], window: Window, resolution: float, *, unknown_is_inside: bool
) -> NDArray[np.bool_]:
    at = rounded(height, resolution)
    inside = (at >= window.lo_in) & (at <= window.hi_in)
    return inside | np.isnan(height) if unknown_is_inside else inside


def candidate_raises(
    installed_in: NDArray[np.float64], lengths_in: NDArray[np.float64], house: HouseRules
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """
    How far each possible change would raise each hydrant.

    Parameters
    ----------
    installed_in
        Kit in the hydrant now, 0 for none, shape (n,). [in]
    lengths_in
        Kits of the family, ascending, shape (k,). [in]
    house
        The house rules.

    Returns
    -------
    raises
        Shape (n, c): first taking the kit out, then each kit in its place, then, where the house
        allows a second kit, each kit on top. Missing where it would change nothing or a house
        rule forbids it; a shorter kit than the installed one is never forbidden. [in]
    kit
        Which kit each column fits, -1 for none, shape (c,).

    Examples
    --------
    >>> from hydrantgis.standards.kits import HouseRules
    >>> raises, kit = candidate_raises(np.array([0.0, 6.0]), np.array([6.0, 12.0]), HouseRules())
    >>> raises.tolist(), kit.tolist()
    ([[nan, 6.0, 12.0], [-6.0, nan, 6.0]], [-1, 0, 1])
    """
    e = installed_in[:, None]
    totals = np.concatenate(([0.0], lengths_in))[None, :] + 0.0 * e
    kit = np.concatenate(([-1], np.arange(len(lengths_in))))
    if not house.one_extension:
        on_top = np.where(e > 0, e + lengths_in[None, :], np.nan)
        totals = np.concatenate((totals, on_top), axis=1)
        kit = np.concatenate((kit, np.arange(len(lengths_in))))
    longest = np.inf if house.longest_total_in is None else house.longest_total_in
    raises = totals - e
    allowed = (raises != 0) & ((totals <= longest) | (raises < 0))
    return np.where(allowed, raises, np.nan), kit.astype(np.intp)


def choose_kit(
    height_in: ArrayLike,
    flange_in: ArrayLike,
    installed_in: ArrayLike,
    lengths_in: Sequence[float],
    *,
    rule: HeightRule,
    house: HouseRules,
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """
    The kit to fit at each hydrant of one family.

    Parameters
    ----------
    height_in
        Outlet over the rule's datum, shape (n,). [in]
    flange_in
        Breakaway flange over grade, missing where unknown, shape (n,). [in]
    installed_in
        Kit in the hydrant now, 0 for none, shape (n,). [in]
    lengths_in
        Kits of the family, ascending. [in]
    rule, house
        Windows, aim and resolution; policy and limits.

    Returns
    -------
    kit
        Position in `lengths_in`; -1 to take the installed kit out; -2 where nothing fits.
    raises
        How far the hydrant rises; missing where nothing fits. [in]

    Notes
    -----
    Policy `target` takes what ends nearest the aim of the outlet window, the shorter on a tie;
    `shortest` takes the least total length that fits.
    """
    y = np.asarray(height_in, dtype=np.float64)
    f = np.asarray(flange_in, dtype=np.float64)
    e = np.asarray(installed_in, dtype=np.float64)
    raises, kit = candidate_raises(e, np.asarray(lengths_in, dtype=np.float64), house)
    gain = 0.0 if rule.datum == "flange-bottom" else 1.0
    after = y[:, None] + gain * raises
    fits = ~np.isnan(raises) & _within(
        after, rule.window, rule.resolution_in, unknown_is_inside=False
    )
    flange_after = f[:, None] + raises
    fits &= _within(flange_after, rule.flange, rule.resolution_in, unknown_is_inside=True)
    cost = raises if house.policy == "shortest" else np.abs(after - rule.window.aim_in)
    # rounded, so that a tie in decimals is a tie; then the smaller raise goes first
    cost = np.where(fits, np.round(cost, 6), np.inf)
    order = np.argsort(np.where(np.isnan(raises), np.inf, raises), axis=1, kind="stable")
    best = np.take_along_axis(
        order, np.argmin(np.take_along_axis(cost, order, axis=1), axis=1)[:, None], axis=1
    )[:, 0]
    rows = np.arange(len(y))
    some = fits.any(axis=1)
    return np.where(some, kit[best], -2), np.where(some, raises[rows, best], np.nan)


def _ends_inside(
    y: NDArray[np.float64], f: NDArray[np.float64], raised: NDArray[np.float64], rule: HeightRule
) -> NDArray[np.bool_]:
    """Whether outlet and flange end inside their windows; an unknown flange does."""
    outlet = _within(y + raised, rule.window, rule.resolution_in, unknown_is_inside=False)
    return outlet & _within(f + raised, rule.flange, rule.resolution_in, unknown_is_inside=True)


def choose_bury_raise(
    height_in: ArrayLike, flange_in: ArrayLike, *, step_in: float, rule: HeightRule
) -> NDArray[np.float64]:
    """
    How much longer (or shorter) the bury of a replacement must be, in whole steps.

    Parameters
    ----------
    height_in, flange_in
        As `choose_kit`, shape (n,). [in]
    step_in
        Burys are ordered in steps of this. [in]
    rule
        Windows and aim.

    Returns
    -------
    raises
        Whole steps, nearest the aim of the outlet window, that end inside both windows; missing
        where none does. The new hydrant is taken to have its flange as far below its outlets. [in]

    Examples
    --------
    >>> from hydrantgis.standards.load import load_rule
    >>> rule = load_rule("nfpa24-2019")
    >>> choose_bury_raise([-31.0, 17.0], [float("nan")] * 2, step_in=6, rule=rule).tolist()
    [60.0, 12.0]
    """
    y, f = np.asarray(height_in, dtype=np.float64), np.asarray(flange_in, dtype=np.float64)
    half = rule.resolution_in / 2
    least = rule.window.lo_in - y - half
    most = rule.window.hi_in - y + half
    with np.errstate(invalid="ignore"):
        least = np.where(np.isnan(f), least, np.maximum(least, rule.flange.lo_in - f - half))
        most = np.where(np.isnan(f), most, np.minimum(most, rule.flange.hi_in - f + half))
        low, high = np.ceil(least / step_in), np.floor(most / step_in)
        # at half a step of resolution the rounding decides: the ends are tried, and moved in
        low += ~_ends_inside(y, f, low * step_in, rule)
        high -= ~_ends_inside(y, f, high * step_in, rule)
        steps = np.clip(np.round((rule.window.aim_in - y) / step_in), low, high)
    fits = (low <= high) & (rule.datum != "flange-bottom") & ~np.isnan(y)
    return np.where(fits, steps * step_in, np.nan)


def _why_no_kit(
    y: NDArray[np.float64],
    f: NDArray[np.float64],
    e: NDArray[np.float64],
    lengths: NDArray[np.float64],
    rule: HeightRule,
    house: HouseRules,
) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Reason and sentence where no kit of the family fits."""
    window, flange, step = rule.window, rule.flange, rule.resolution_in
    raises, _ = candidate_raises(e, lengths, house)
    after = y[:, None] + raises
    outlet_fits = _within(after, window, step, unknown_is_inside=False) & ~np.isnan(raises)
    longest = np.nanmax(np.where(np.isnan(raises), -np.inf, raises), axis=1, initial=-np.inf)
    at = rounded(y, step)
    short = at < window.lo_in
    high = at > window.hi_in
    free = lengths[None, :] - e[:, None]
    would = _within(y[:, None] + free, window, step, unknown_is_inside=False).any(axis=1)
    stacked = y[:, None] + lengths[None, :]
    second = (e > 0) & _within(stacked, window, step, unknown_is_inside=False).any(axis=1)
    would |= second & (not house.one_extension)

    # the last candidate below the window and the first above it, for the sentence
    low_side = np.where((after < window.lo_in) & ~np.isnan(raises), raises, -np.inf).max(axis=1)
    high_side = np.where((after > window.hi_in) & ~np.isnan(raises), raises, np.inf).min(axis=1)
    right = np.where(outlet_fits, raises, np.inf).min(axis=1)

    code = np.select(
        [
            ~short & ~high,
            np.full(len(y), rule.datum == "flange-bottom"),
            outlet_fits.any(axis=1),
            high & ~(after < window.lo_in).any(axis=1),
            would & short,
            (house.one_extension & second) & short,
            y + np.maximum(longest, 0.0) < window.lo_in,
        ],
        [
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
    templates = {
        "flange-datum": REASONS["flange-datum"],
        "flange-outside": (
            "the flange stands at {f} in where {flange} is allowed; no kit puts it right and keeps "
            "the outlet within {window}"
        ),
        "flange-conflict": (
            "raised {right} in the outlet is right at {right_y} in, and the flange would stand at "
            "{right_f} in where {flange} is allowed"
        ),
        "too-high": "stands {over} in above {hi} in; {kit}",
        "house-longest-total": REASONS["house-longest-total"],
        "house-one-extension": REASONS["house-one-extension"],
        "longer-than-longest": "{short} in short of {lo} in; kits raise {most} in at the most",
        "window-narrower-than-step": (
            "{before} it stands at {low_y} in, raised {high} in at {high_y}; the window is {window}"
        ),
    }
    # where nothing is above or below, the hydrant as it stands is the neighbor
    low_side = np.where(np.isinf(low_side), 0.0, low_side)
    high_side = np.where(np.isinf(high_side), 0.0, high_side)
    right = np.where(np.isinf(right), 0.0, right)
    out = fill("taking the {e} in kit out is not enough", e=e)
    held = np.where(e > 0, out, "there is no kit to take out")
    before = np.where(low_side == 0, "as it is", fill("raised {low} in", low=low_side))
    values: dict[str, ArrayLike | str] = {
        "f": f, "before": before,
        "right": right, "right_y": y + right, "right_f": f + right, "flange": str(flange),
        "over": y - window.hi_in, "hi": np.full(len(y), window.hi_in), "kit": held,
        "short": window.lo_in - y, "lo": np.full(len(y), window.lo_in),
        "most": np.maximum(longest, 0.0), "low_y": y + low_side,
        "high": high_side, "high_y": y + high_side, "window": str(window),
    }  # fmt: skip
    sentence = np.full(len(y), "", dtype=object)
    for name, template in templates.items():
        rows = np.flatnonzero(code == name)
        if len(rows):
            of_rows = {
                k: v if isinstance(v, str) else np.asarray(v)[rows] for k, v in values.items()
            }
            sentence[rows] = fill(template, **of_rows) if "{" in template else template
    return code, sentence


def remedies_of_family(
    height_in: ArrayLike,
    flange_in: ArrayLike,
    installed_in: ArrayLike,
    *,
    family: Family | None,
    rule: HeightRule,
    house: HouseRules,
    bury_step_in: float,
) -> Remedies:
    """
    What to do at hydrants of one family that stand wrong and were measured by contact.

    Parameters
    ----------
    height_in, flange_in, installed_in
        As `choose_kit`, shape (n,). [in]
    family
        The kits; None where the catalogue has none for these hydrants.
    rule, house
        Windows; house rules.
    bury_step_in
        Burys are ordered in steps of this. [in]

    Returns
    -------
    remedies
        `extend`, `exchange`, `remove`, else `replace`, `lower` or `review` with the reason.
    """
    y, f = np.asarray(height_in, dtype=np.float64), np.asarray(flange_in, dtype=np.float64)
    e = np.asarray(installed_in, dtype=np.float64)
    n = len(y)
    lengths = np.array([kit.length_in for kit in family.kits]) if family else np.empty(0)
    kit, raises = choose_kit(y, f, e, lengths.tolist(), rule=rule, house=house)
    result = Remedies.blank(n)
    result.kit, result.raise_in = np.where(kit == -2, -1, kit).astype(np.intp), raises
    fits = kit != -2
    total = lengths[np.maximum(result.kit, 0)] if len(lengths) else e
    on_top = fits & (result.kit >= 0) & (np.abs(raises + e - total) > rule.resolution_in)
    result.remedy = np.select(
        [fits & (kit == -1), fits & (e > 0) & ~on_top, fits],
        ["remove", "exchange", "extend"],
        "review",
    ).astype(object)
    blind = rule.flange.limited & np.isnan(f)
    result.code = np.where(blind, "kit-fits-flange-unknown", "kit-fits").astype(object)
    gain = 0.0 if rule.datum == "flange-bottom" else 1.0
    result.sentence = np.where(
        blind,
        REASONS["kit-fits-flange-unknown"],
        fill(
            "outlet from {y} to {after} in; the window is {window}",
            y=y, after=y + gain * raises, window=str(rule.window),
        ),
    ).astype(object)  # fmt: skip
    without = np.flatnonzero(~fits)
    if not len(without):
        return result
    code, sentence = _why_no_kit(y[without], f[without], e[without], lengths, rule, house)
    if family is None:
        none = ~np.isin(code, ["too-high", "flange-datum"])
        code[none] = "no-kit-for-family"
        sentence[none] = REASONS["no-kit-for-family"]
    bury = choose_bury_raise(y[without], f[without], step_in=bury_step_in, rule=rule)
    # another bury helps a low hydrant for which kits were tried; a missing catalogue is for review
    replace = np.isfinite(bury) & (bury > 0) & ~np.isin(code, ["too-high", "no-kit-for-family"])
    # a hydrant too deep for every kit, and between two steps of bury as well
    between = ~replace & np.isin(code, ["longer-than-longest", "flange-conflict"])
    sentence[between] += f"; no bury in steps of {bury_step_in:g} in puts outlet and flange right"
    result.code[without], result.sentence[without] = code, sentence
    result.remedy[without] = np.select(
        [code == "too-high", replace], ["lower", "replace"], "review"
    )
    result.raise_in[without] = np.where(replace, bury, np.nan)
    return result
