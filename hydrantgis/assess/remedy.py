"""
Remedy: which kit puts a hydrant right, and what to do where none does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.assess.options import choose, options, within
from hydrantgis.assess.reasons import NO_KITS, REASONS, why_none
from hydrantgis.assess.verdict import rounded
from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from hydrantgis.standards.kits import Family, HouseRules
    from hydrantgis.standards.rules import HeightRule


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


def _ends_inside(
    y: NDArray[np.float64],
    f: NDArray[np.float64],
    raised: NDArray[np.float64],
    rule: HeightRule,
    moves: NDArray[np.float64] | float = 0.0,
) -> NDArray[np.bool_]:
    """Whether outlet and flange end inside their windows, now and when the ground has moved."""
    inside = np.ones(len(y), dtype=bool)
    for later in (0.0, moves):
        up, step = raised - later, rule.resolution_in
        inside &= within(y + up, rule.window, step, unknown_is_inside=False)
        inside &= within(f + up, rule.flange, step, unknown_is_inside=True)
    return inside


def choose_bury_raise(
    height_in: ArrayLike,
    flange_in: ArrayLike,
    *,
    step_in: float,
    rule: HeightRule,
    allowance_in: ArrayLike = 0.0,
    least_in: ArrayLike = -np.inf,
) -> NDArray[np.float64]:
    """
    How much longer (or shorter) the bury of a replacement must be, in whole steps.

    Parameters
    ----------
    height_in, flange_in, allowance_in
        As `hydrantgis.assess.options.options`, shape (n,). [in]
    step_in
        Burys are ordered in steps of this. [in]
    rule
        Windows and aim.
    least_in
        No bury may be shorter than by this, below 0; shape (n,). [in]

    Returns
    -------
    raises
        Whole steps, nearest the aim of the outlet window, that end inside both windows, and after
        the ground has moved too; missing where none does. The new hydrant is taken to have its
        flange as far below its outlets. [in]

    Examples
    --------
    >>> from hydrantgis.standards.load import load_rule
    >>> rule = load_rule("nfpa24-2019")
    >>> choose_bury_raise([-31.0, 17.0], [float("nan")] * 2, step_in=6, rule=rule).tolist()
    [60.0, 12.0]
    """
    y, f = np.asarray(height_in, dtype=np.float64), np.asarray(flange_in, dtype=np.float64)
    moves = np.broadcast_to(np.asarray(allowance_in, dtype=np.float64), y.shape)
    half, rise, fall = rule.resolution_in / 2, np.maximum(moves, 0.0), np.minimum(moves, 0.0)
    least = rule.window.lo_in + rise - y - half
    most = rule.window.hi_in + fall - y + half
    with np.errstate(invalid="ignore"):
        least = np.where(np.isnan(f), least, np.maximum(least, rule.flange.lo_in + rise - f - half))
        most = np.where(np.isnan(f), most, np.minimum(most, rule.flange.hi_in + fall - f + half))
        floor = np.asarray(least_in, dtype=np.float64)
        least = np.maximum(least, np.where(np.isnan(floor), -np.inf, floor))
        low, high = np.ceil(least / step_in), np.floor(most / step_in)
        # at half a step of resolution the rounding decides: the ends are tried, and moved in
        low += ~_ends_inside(y, f, low * step_in, rule, moves)
        high -= ~_ends_inside(y, f, high * step_in, rule, moves)
        steps = np.clip(np.round((rule.window.aim_in - y) / step_in), low, high)
    fits = (low <= high) & (rule.datum != "flange-bottom") & ~np.isnan(y)
    return np.where(fits, steps * step_in, np.nan)


def remedies_of_family(
    height_in: ArrayLike,
    flange_in: ArrayLike,
    installed_in: ArrayLike,
    *,
    family: Family | None,
    rule: HeightRule,
    house: HouseRules,
    bury_step_in: float,
    sd_in: ArrayLike = 0.0,
    allowance_in: ArrayLike = 0.0,
    least_bury_raise_in: ArrayLike = -np.inf,
    no_kits: str = NO_KITS[0],
) -> Remedies:
    """
    What to do at hydrants of one family that stand wrong and were measured by contact.

    Parameters
    ----------
    height_in, flange_in, installed_in, rule, house, allowance_in
        As `hydrantgis.assess.options.options`, shape (n,). [in]
    family
        The kits; None where the catalogue has none for these hydrants.
    bury_step_in
        Burys are ordered in steps of this. [in]
    sd_in
        Standard uncertainty of the heights, shape (n,). [in]
    least_bury_raise_in
        How much shorter a bury may become, below 0; shape (n,). [in]
    no_kits
        Why there are none, one of `NO_KITS`.

    Returns
    -------
    remedies
        `extend`, `exchange`, `remove`, else `replace`, `lower`, `regrade` or `review` with the
        reason.
    """
    y, f = np.asarray(height_in, dtype=np.float64), np.asarray(flange_in, dtype=np.float64)
    e, n = np.asarray(installed_in, dtype=np.float64), len(y)
    moves = np.broadcast_to(np.asarray(allowance_in, dtype=np.float64), (n,))
    kits = family.kits if family else ()
    lengths = np.array([kit.length_in for kit in kits], dtype=np.float64)
    shelf = [not house.stock_only or (kit.on_hand or 0) > 0 for kit in kits]
    told = options(
        y, f, e, lengths.tolist(), rule=rule, house=house, allowance_in=moves, on_shelf=shelf
    )
    chosen = choose(told, rule=rule, house=house, sd_in=sd_in)
    fits, rows = chosen >= 0, np.arange(n)
    result = Remedies.blank(n)
    result.kit = np.where(fits, told.kit[chosen], -1).astype(np.intp)
    result.raise_in = raises = np.where(fits, told.raises[rows, chosen], np.nan)
    total = np.append(lengths, 0.0)[result.kit]
    on_top = fits & (result.kit >= 0) & (np.abs(raises + e - total) > rule.resolution_in)
    result.remedy = np.select(
        [fits & (result.kit < 0), fits & (e > 0) & ~on_top, fits],
        ["remove", "exchange", "extend"],
        "review",
    ).astype(object)
    blind = rule.flange.limited & np.isnan(f)
    result.code = np.where(blind, "kit-fits-flange-unknown", "kit-fits").astype(object)
    result.sentence = np.where(
        blind,
        REASONS["kit-fits-flange-unknown"],
        fill(
            "outlet from {y} to {after} in; the window is {window}",
            y=y, after=told.outlet_in[rows, chosen], window=str(rule.window),
        ),
    ).astype(object)  # fmt: skip
    without = np.flatnonzero(~fits)
    if len(without):
        part = told.at(without)
        code, sentence = why_none(
            part, y[without], f[without], e[without], lengths,
            rule=rule, house=house, allowance_in=moves[without],
        )  # fmt: skip
        if family is None:
            none = ~np.isin(code, ["too-high", "flange-datum"])
            code[none], sentence[none] = no_kits, REASONS[no_kits]
        least = np.broadcast_to(np.asarray(least_bury_raise_in, dtype=np.float64), (n,))
        bury = choose_bury_raise(
            y[without], f[without], step_in=bury_step_in, rule=rule, allowance_in=moves[without],
            least_in=least[without],
        )  # fmt: skip
        result.put(without, _without_kit(
            code, sentence, y[without], f[without], bury, rule=rule, house=house,
            bury_step_in=bury_step_in,
        ))  # fmt: skip
    return result


def _without_kit(
    code: NDArray[np.object_],
    sentence: NDArray[np.object_],
    y: NDArray[np.float64],
    f: NDArray[np.float64],
    bury: NDArray[np.float64],
    *,
    rule: HeightRule,
    house: HouseRules,
    bury_step_in: float,
) -> Remedies:
    """What to do where no kit fits, and why none does."""
    high = rounded(y, rule.resolution_in) > rule.window.hi_in
    high &= rule.datum != "flange-bottom"
    # ground that rises takes outlet and flange down alike, by no less than it must
    over = np.where(high, y - rule.window.hi_in, np.nan)
    most = np.fmin(y - rule.window.lo_in, f - rule.flange.lo_in)
    regrade = high & (over <= house.most_regrade_in) & _ends_inside(y, f, -over, rule)
    # another bury helps where kits were tried; a missing catalogue or an empty shelf is for review
    # and what is too high no kit puts right
    tried = ~np.isin(code, [*NO_KITS, "none-on-shelf"]) | high
    lower = tried & (bury < 0) & ~regrade
    replace = tried & (bury > 0) & ~high
    sentence[regrade] += fill(
        "; raise the ground by {over} to {most} in", over=over[regrade],
        most=np.fmin(most[regrade], house.most_regrade_in),
    )  # fmt: skip
    sentence[lower] += fill("; a bury {by} in shorter puts it right", by=-bury[lower])
    # a hydrant too deep or too high for every kit, and between two steps of bury as well
    between = ~replace & ~lower & ~regrade
    between &= np.isin(code, ["longer-than-longest", "flange-conflict", "too-high", "allowance"])
    sentence[between] += f"; no bury in steps of {bury_step_in:g} in puts outlet and flange right"
    result = Remedies.blank(len(y))
    result.code, result.sentence = code, sentence
    result.remedy = np.select(
        [regrade, lower, replace], ["regrade", "lower", "replace"], "review"
    ).astype(object)
    result.raise_in = np.where(replace | lower, bury, np.nan)
    return result
