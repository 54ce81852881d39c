"""
What can be tried at a hydrant: taking its kit out, each kit of the family, and where it ends then.

An extension lies below the breakaway flange, so that outlet and flange rise alike, by the kit's
length less that of the kit it takes the place of. A kit fits where both end inside their windows.
Common practice, no source; the maker's parts and instructions govern.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.assess.verdict import chances, rounded
from hydrantgis.standards.kits import POLICIES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from hydrantgis.standards.kits import HouseRules
    from hydrantgis.standards.rules import HeightRule, Window

CLEAR = 2.0
"""A height is clear of a limit by so many standard uncertainties."""
_LAST_IN = 1e6


def within(
    height: NDArray[np.float64], window: Window, resolution: float, *, unknown_is_inside: bool
) -> NDArray[np.bool_]:
    """
    Whether heights, rounded to the resolution, lie in a window; same shape.

    Parameters
    ----------
    height
        Any shape, missing where not known. [in]
    window
        Its limits are allowed.
    resolution
        Heights are rounded to this. [in]
    unknown_is_inside
        What holds of a height that is not known.
    """
    at = rounded(height, resolution)
    inside = (at >= window.lo_in) & (at <= window.hi_in)
    return inside | np.isnan(height) if unknown_is_inside else inside


@dataclass(frozen=True, slots=True)
class Options:
    """
    Changes that can be tried at n hydrants of one family, c of them.

    Attributes
    ----------
    raises
        How far each would raise the hydrant; missing where it would change nothing; shape (n, c).
        [in]
    kit
        Which kit it fits, -1 for none; shape (c,).
    outlet_in, flange_in
        Where outlet and flange end; shape (n, c). [in]
    house
        Whether the house rules allow it; shape (n, c).
    shelf
        Whether the kit is to be had; shape (c,).
    outlet, flange
        Whether they end inside their windows, an unknown flange does; shape (n, c).
    later
        Whether they do after the ground has moved by its allowance too; shape (n, c).
    """

    raises: NDArray[np.float64]
    kit: NDArray[np.intp]
    outlet_in: NDArray[np.float64]
    flange_in: NDArray[np.float64]
    house: NDArray[np.bool_]
    shelf: NDArray[np.bool_]
    outlet: NDArray[np.bool_]
    flange: NDArray[np.bool_]
    later: NDArray[np.bool_]

    def at(self, rows: NDArray[np.intp]) -> Options:
        """The same of some of the hydrants, by their positions."""
        return Options(
            self.raises[rows], self.kit, self.outlet_in[rows], self.flange_in[rows],
            self.house[rows], self.shelf, self.outlet[rows], self.flange[rows], self.later[rows],
        )  # fmt: skip

    @property
    def real(self) -> NDArray[np.bool_]:
        """Whether anything would change and the house allows it, shape (n, c)."""
        return self.house & ~np.isnan(self.raises)

    @property
    def fits(self) -> NDArray[np.bool_]:
        """Whether nothing is against it, shape (n, c)."""
        return self.real & self.shelf & self.outlet & self.flange & self.later


def options(
    height_in: ArrayLike,
    flange_in: ArrayLike,
    installed_in: ArrayLike,
    lengths_in: Sequence[float],
    *,
    rule: HeightRule,
    house: HouseRules,
    allowance_in: ArrayLike = 0.0,
    on_shelf: Sequence[bool] | None = None,
) -> Options:
    """
    Every change that can be tried at hydrants of one family.

    Parameters
    ----------
    height_in
        Outlet over the rule's datum, shape (n,). [in]
    flange_in
        Breakaway flange over grade, missing where unknown, shape (n,). [in]
    installed_in
        Kit in the hydrant now, 0 for none, shape (n,). [in]
    lengths_in
        Kits of the family, ascending, shape (k,). [in]
    rule, house
        Windows and resolution; house rules.
    allowance_in
        By how much the ground will rise after the job, below 0 where it settles, shape (n,). [in]
    on_shelf
        Whether each kit is to be had, shape (k,); all are where it is None.

    Returns
    -------
    options
        First taking the kit out, then each kit in its place, then, where the house allows a second
        kit, each kit on top. A shorter kit than the installed one is never forbidden.

    Examples
    --------
    >>> from hydrantgis.standards.kits import HouseRules
    >>> from hydrantgis.standards.load import load_rule
    >>> told = options([12.0], [-4.0], [6.0], [6.0, 12.0], rule=load_rule("nfpa24-2019"),
    ...                house=HouseRules())
    >>> told.kit.tolist(), told.raises.tolist(), told.outlet.tolist()
    ([-1, 0, 1], [[-6.0, nan, 6.0]], [[False, False, True]])
    """
    y = np.asarray(height_in, dtype=np.float64)[:, None]
    f = np.asarray(flange_in, dtype=np.float64)[:, None]
    e = np.asarray(installed_in, dtype=np.float64)[:, None]
    lengths = np.asarray(lengths_in, dtype=np.float64)
    have = np.ones(len(lengths), dtype=bool) if on_shelf is None else np.asarray(on_shelf, bool)
    totals = np.concatenate(([0.0], lengths))[None, :] + 0.0 * e
    kit = np.concatenate(([-1], np.arange(len(lengths))))
    if not house.one_extension:
        on_top = np.where(e > 0, e + lengths[None, :], np.nan)
        totals = np.concatenate((totals, on_top), axis=1)
        kit = np.concatenate((kit, np.arange(len(lengths))))
    raises = totals - e
    raises[raises == 0] = np.nan
    longest = np.inf if house.longest_total_in is None else house.longest_total_in
    gain = 0.0 if rule.datum == "flange-bottom" else 1.0
    outlet, flange = y + gain * raises, f + raises
    step = rule.resolution_in
    inside = within(outlet, rule.window, step, unknown_is_inside=False)
    flange_inside = within(flange, rule.flange, step, unknown_is_inside=True)
    later = np.ones(raises.shape, dtype=bool)
    moves = np.broadcast_to(np.asarray(allowance_in, dtype=np.float64), y.shape[:1])[:, None]
    if moves.any():
        later = within(outlet - gain * moves, rule.window, step, unknown_is_inside=False)
        later &= within(flange - moves, rule.flange, step, unknown_is_inside=True)
    return Options(
        raises=raises,
        kit=kit.astype(np.intp),
        outlet_in=outlet,
        flange_in=flange,
        house=(totals <= longest) | (raises < 0),
        shelf=np.where(kit < 0, True, np.append(have, True)[kit]).astype(bool),
        outlet=inside,
        flange=flange_inside,
        later=later,
    )


def choose(
    told: Options,
    *,
    rule: HeightRule,
    house: HouseRules,
    sd_in: ArrayLike = 0.0,
) -> NDArray[np.intp]:
    """
    Which of the options is taken at each hydrant, -1 where none fits, shape (n,).

    Parameters
    ----------
    told
        From `options`.
    rule, house
        Window and aim; policy.
    sd_in
        Standard uncertainty of the heights, for the policy `surest`, shape (n,). [in]

    Notes
    -----
    Policy `target` takes what ends nearest the aim of the outlet window, which with one limit is
    that limit, with what is not clear of it by the expanded uncertainty last; `shortest` the least
    total length that fits; `surest` what most probably ends inside the window; of those that tie
    the one that raises least.
    """
    raises, window = told.raises, rule.window
    sd = np.broadcast_to(np.asarray(sd_in, dtype=np.float64), raises.shape[:1])[:, None]
    if house.policy not in POLICIES:
        raise ValueError(f"{house.policy!r} is none of {', '.join(POLICIES)}")
    if house.policy == "shortest":
        cost = raises
    elif house.policy == "surest":
        cost = -chances(told.outlet_in, sd + 0.0 * raises, lo_in=window.lo_in, hi_in=window.hi_in)[
            0
        ]
    else:
        off = np.abs(told.outlet_in - window.aim_in)
        # with one limit alone it is aimed at, and what is not clear of it goes last
        one_sided = window.target_in is None and not np.isfinite(window.lo_in + window.hi_in)
        cost = off + np.where(one_sided & (off < CLEAR * sd), _LAST_IN, 0.0)
    # rounded, so that a tie in decimals is a tie; then the smaller raise goes first
    cost = np.where(told.fits, np.round(cost, 6), np.inf)
    order = np.argsort(np.where(np.isnan(raises), np.inf, raises), axis=1, kind="stable")
    best = np.argmin(np.take_along_axis(cost, order, axis=1), axis=1)[:, None]
    chosen = np.take_along_axis(order, best, axis=1)[:, 0]
    return np.where(told.fits.any(axis=1), chosen, -1).astype(np.intp)


def choose_kit(
    height_in: ArrayLike,
    flange_in: ArrayLike,
    installed_in: ArrayLike,
    lengths_in: Sequence[float],
    *,
    rule: HeightRule,
    house: HouseRules,
    sd_in: ArrayLike = 0.0,
    allowance_in: ArrayLike = 0.0,
    on_shelf: Sequence[bool] | None = None,
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """
    The kit to fit at each hydrant of one family.

    Parameters
    ----------
    height_in, flange_in, installed_in, lengths_in, rule, house, allowance_in, on_shelf
        As `options`.
    sd_in
        As `choose`.

    Returns
    -------
    kit
        Position in `lengths_in`; -1 to take the installed kit out; -2 where nothing fits; shape
        (n,).
    raises
        How far the hydrant rises; missing where nothing fits; shape (n,). [in]

    Examples
    --------
    >>> from hydrantgis.standards.kits import HouseRules
    >>> from hydrantgis.standards.load import load_rule
    >>> rule, nan = load_rule("nfpa24-2019"), float("nan")
    >>> kit, raises = choose_kit([13.0, -40.0], [nan, nan], [0.0, 0.0], [6.0, 12.0, 18.0],
    ...                          rule=rule, house=HouseRules())
    >>> kit.tolist(), raises.tolist()
    ([1, -2], [12.0, nan])
    """
    told = options(
        height_in, flange_in, installed_in, lengths_in,
        rule=rule, house=house, allowance_in=allowance_in, on_shelf=on_shelf,
    )  # fmt: skip
    chosen = choose(told, rule=rule, house=house, sd_in=sd_in)
    some, rows = chosen >= 0, np.arange(len(chosen))
    return (
        np.where(some, told.kit[chosen], -2),
        np.where(some, told.raises[rows, chosen], np.nan),
    )
