"""
Kit catalogues: which extension lengths there are for which hydrant family, and the house rules.

Parts, torque and fit are the maker's; a catalogue only repeats them, with where they come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

ANY_FAMILY = "*"
POLICIES = ("target", "shortest", "surest")
USES = ("extension", "repair")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """
    One extension kit.

    Attributes
    ----------
    kit_id
        By which it is ordered.
    length_in
        How far it raises outlet and flange. [in]
    unit_cost
        Of one, in the money of the catalogue; None where it is not known.
    on_hand
        How many lie on the shelf; None where nobody says.
    lead_days
        From order to delivery; None where it is not known. [days]
    """

    kit_id: str
    length_in: float
    unit_cost: float | None = None
    on_hand: int | None = None
    lead_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """
    What a kit holds.

    Attributes
    ----------
    part
        Its name.
    quantity, unit
        How many a kit, and of what where they are not pieces.
    use
        One of `USES`: in an extension kit, or in a breakaway repair kit.
    source
        Where this comes from.
    """

    part: str
    quantity: float
    unit: str
    use: str
    source: str

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.quantity:g}{unit} {self.part}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """
    A bolted joint.

    Attributes
    ----------
    joint
        Which one.
    bolts
        How many; None where the catalogue does not say.
    least_torque_lbf_ft, most_torque_lbf_ft
        None where the catalogue does not say. [lbf ft]
    source
        Where this comes from.
    """

    joint: str
    bolts: int | None
    least_torque_lbf_ft: float | None
    most_torque_lbf_ft: float | None
    source: str

    def __str__(self) -> str:
        bolts = "" if self.bolts is None else f", {self.bolts} bolts"
        low, high = self.least_torque_lbf_ft, self.most_torque_lbf_ft
        if low is None or high is None:
            return f"{self.joint}{bolts}"
        span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        return f"{self.joint}{bolts}, {span} lbf ft"


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """
    A hydrant family and the kits that fit it, shortest first.

    Attributes
    ----------
    name
        As hydrants name it; `*` takes every hydrant of a family that stands nowhere.
    kits
        Shortest first.
    main_valve_in
        Main-valve sizes that they fit; all where none is named. [in]
    first_year, last_year
        Years of make that they fit, both included; None for no limit.
    """

    name: str
    kits: tuple[Kit, ...]
    main_valve_in: tuple[float, ...] = ()
    first_year: int | None = None
    last_year: int | None = None

    def __str__(self) -> str:
        told = "all others" if self.name == ANY_FAMILY else self.name
        if self.main_valve_in:
            told += f", main valve {' or '.join(f'{v:g}' for v in self.main_valve_in)} in"
        if self.first_year is not None or self.last_year is not None:
            told += f", made {self.first_year or 'up'} to {self.last_year or 'now'}"
        return told


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """
    By how much the ground of an area will move after the job.

    Attributes
    ----------
    area_id
        `*` for every area without one of its own.
    change_in
        Up, as by an overlay; below 0 where it settles. [in]
    """

    area_id: str
    change_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseRules:
    """
    Rules of the utility, not of any maker; each can be switched off.

    Attributes
    ----------
    one_extension
        One extension per hydrant: an extended hydrant gets an exchange, never a second kit.
    longest_total_in
        The most that kits may raise a hydrant in all; None for no limit. [in]
    policy
        `target`: the kit that ends nearest the aim of the window. `shortest`: the shortest that
        fits. `surest`: the one whose outlet most probably ends inside.
    stock_only
        Only kits that lie on the shelf.
    most_regrade_in
        Ground is raised to a hydrant that stands too high by no more than this; else it is lowered.
        [in]
    allowances
        The outlet ends inside now, and after the ground has moved by this too.
    """

    one_extension: bool = True
    longest_total_in: float | None = None
    policy: str = "target"
    stock_only: bool = False
    most_regrade_in: float = 0.0
    allowances: tuple[Allowance, ...] = ()

    def __str__(self) -> str:
        longest = self.longest_total_in
        told = [
            "one extension per hydrant" if self.one_extension else "a second extension is allowed",
            "no longest total" if longest is None else f"kits raise {longest:g} in at most",
            f"policy {self.policy}",
        ]
        if self.stock_only:
            told.append("only what is on the shelf")
        if self.most_regrade_in:
            told.append(f"ground is raised by up to {self.most_regrade_in:g} in")
        told += [f"area {a.area_id}: ground moves {a.change_in:+g} in" for a in self.allowances]
        return "; ".join(told)


@dataclass(frozen=True, slots=True, kw_only=True)
class KitCatalogue:
    """
    What can be ordered, and the house rules for choosing.

    Attributes
    ----------
    catalogue_id, title, source, read_on
        What it is, where it comes from, and of which day.
    families, house
        Kits and rules.
    bury_step_ft, shortest_bury_ft
        Hydrants are ordered in burys of this step, none shorter than that; None for no limit. [ft]
    parts, joints
        What kits hold, and what is bolted.
    money, cost_source, cost_on
        Of the costs: currency, where they come from, of which day; None where there are none.
    """

    catalogue_id: str
    title: str
    source: str
    read_on: dt.date
    families: tuple[Family, ...]
    house: HouseRules
    bury_step_ft: float = 0.5
    shortest_bury_ft: float | None = None
    parts: tuple[Part, ...] = ()
    joints: tuple[Joint, ...] = ()
    money: str | None = None
    cost_source: str | None = None
    cost_on: dt.date | None = None

    def kits(self) -> tuple[Kit, ...]:
        """Every kit of every family."""
        return tuple(kit for family in self.families for kit in family.kits)
