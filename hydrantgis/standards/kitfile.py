"""
A kit catalogue from its file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SettingsError
from hydrantgis.ground.settings import SettingsReader
from hydrantgis.standards.kits import (
    POLICIES,
    USES,
    Allowance,
    Family,
    HouseRules,
    Joint,
    Kit,
    KitCatalogue,
    Part,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

_MOST_IN, _MOST_VALVE_IN, _MOST_BURY_FT = 120.0, 12.0, 20.0


def catalogue_from_mapping(mapping: Mapping[str, Any], name: str) -> KitCatalogue:
    """
    A kit catalogue from what its file holds.

    Parameters
    ----------
    mapping
        As `tomllib` returns it.
    name
        The file's name, for messages.

    Raises
    ------
    SettingsError
        With every problem and its address.
    """
    reader = SettingsReader(mapping, name)
    reader.expect_format(1)
    catalogue_id = reader.text("catalogue_id", required=True)
    title = reader.text("title", required=True)
    source = reader.text("source", required=True)
    read_on = reader.date("read_on", required=True)
    step = reader.number("bury_step_ft", above=0, most=_MOST_BURY_FT)
    shortest = reader.number("shortest_bury_ft", above=0, most=_MOST_BURY_FT)
    costs = reader.part("costs")
    money = costs.text("money", required=costs.has("source") or costs.has("read_on"))
    cost_source = costs.text("source", required=money is not None)
    cost_on = costs.date("read_on", required=money is not None)
    families = _families(reader, priced=money is not None)
    rules = reader.part("house_rules")
    house = _house(rules)
    shortest_kit = min((kit.length_in for family in families for kit in family.kits), default=0.0)
    if house.longest_total_in is not None and house.longest_total_in < shortest_kit:
        rules.problem("longest_total_in", f"no kit is so short; the shortest is {shortest_kit:g}")
    stocked = any(kit.on_hand is not None for family in families for kit in family.kits)
    if house.stock_only and not stocked:
        rules.problem("stock_only", "no kit says `on_hand`")
    parts = tuple(_part(entry, source or "") for entry in reader.parts("part"))
    joints = tuple(_joint(entry, source or "") for entry in reader.parts("joint"))
    reader.finish()
    if catalogue_id is None or title is None or source is None or read_on is None:
        raise SettingsError(f"{name} is incomplete")  # pragma: no cover - finish told it
    return KitCatalogue(
        catalogue_id=catalogue_id,
        title=title,
        source=source,
        read_on=read_on,
        families=families,
        house=house,
        bury_step_ft=0.5 if step is None else step,
        shortest_bury_ft=shortest,
        parts=parts,
        joints=joints,
        money=money,
        cost_source=cost_source,
        cost_on=cost_on,
    )


def _families(reader: SettingsReader, *, priced: bool) -> tuple[Family, ...]:
    families: list[Family] = []
    prefixes: set[str] = set()
    for part in reader.parts("family", required=True):
        name = part.text("name", required=True)
        prefix = part.text("kit_prefix", required=True)
        lengths = part.numbers("lengths_in", required=True)
        if lengths and lengths[-1] > _MOST_IN:
            part.problem("lengths_in", f"{lengths[-1]:g} in is no extension")
        valves = part.numbers("main_valve_in")
        if valves and valves[-1] > _MOST_VALVE_IN:
            part.problem("main_valve_in", f"{valves[-1]:g} in is no main valve")
        first, last = (part.whole(key, least=1800) for key in ("first_year", "last_year"))
        if first is not None and last is not None and first > last:
            part.problem("last_year", f"{last} lies before `first_year`")
        told = _lengths(part, lengths, priced=priced)
        if name is None or prefix is None:
            continue
        if prefix in prefixes:
            part.problem("kit_prefix", f"{prefix!r} is that of another family")
        prefixes.add(prefix)
        kits = tuple(
            Kit(kit_id=f"{prefix}-{length:g}", length_in=length, **told.get(length, {}))
            for length in lengths
        )
        family = Family(
            name=name, kits=kits, main_valve_in=valves, first_year=first, last_year=last
        )
        if any(_may_be_both(family, other) for other in families):
            part.problem(
                "name", f"{name!r} stands twice, and a hydrant may be of both: say other "
                "`main_valve_in` or years",
            )  # fmt: skip
        families.append(family)
    return tuple(families)


def _may_be_both(one: Family, other: Family) -> bool:
    """Whether one hydrant may belong to both families."""
    if one.name.casefold() != other.name.casefold():
        return False
    valves = set(one.main_valve_in) & set(other.main_valve_in)
    valve = bool(valves) or not one.main_valve_in or not other.main_valve_in
    begin = max(one.first_year or 0, other.first_year or 0)
    return valve and begin <= min(one.last_year or 9999, other.last_year or 9999)


def _lengths(
    family: SettingsReader, lengths: tuple[float, ...], *, priced: bool
) -> dict[float, dict[str, Any]]:
    """What is said of single lengths."""
    told: dict[float, dict[str, Any]] = {}
    for part in family.parts("length"):
        length = part.number("length_in", required=True, above=0)
        said = {
            "unit_cost": part.number("unit_cost", least=0),
            "on_hand": part.whole("on_hand", least=0),
            "lead_days": part.whole("lead_days", least=0),
        }
        if said["unit_cost"] is not None and not priced:
            part.problem("unit_cost", "say `money`, `source` and `read_on` under [costs] too")
        if length is None:
            continue
        if lengths and length not in lengths:
            part.problem("length_in", f"{length:g} is none of `lengths_in`")
        if length in told:
            part.problem("length_in", f"{length:g} stands twice")
        told[length] = said
    return told


def _house(house: SettingsReader) -> HouseRules:
    allowances: list[Allowance] = []
    for part in house.parts("allowance"):
        area = part.text("area", required=True)
        change = part.number("grade_change_in", required=True, least=-_MOST_IN, most=_MOST_IN)
        if area is None or change is None:
            continue
        if area in {known.area_id for known in allowances}:
            part.problem("area", f"{area!r} stands twice")
        allowances.append(Allowance(area_id=area, change_in=change))
    return HouseRules(
        one_extension=house.flag("one_extension", default=True),
        longest_total_in=house.number("longest_total_in", above=0),
        policy=house.choice("policy", POLICIES) or "target",
        stock_only=house.flag("stock_only", default=False),
        most_regrade_in=house.number("most_regrade_in", least=0) or 0.0,
        allowances=tuple(allowances),
    )


def _part(entry: SettingsReader, source: str) -> Part:
    return Part(
        part=entry.text("part", required=True) or "",
        quantity=entry.number("quantity", required=True, above=0) or 0.0,
        unit=entry.text("unit") or "",
        use=entry.choice("use", USES) or USES[0],
        source=entry.text("source") or source,
    )


def _joint(entry: SettingsReader, source: str) -> Joint:
    least = entry.number("least_torque_lbf_ft", above=0)
    most = entry.number("most_torque_lbf_ft", above=0, least=least)
    if (least is None) != (most is None):
        entry.problem("most_torque_lbf_ft", "least and most torque go together")
    return Joint(
        joint=entry.text("joint", required=True) or "",
        bolts=entry.whole("bolts", least=1),
        least_torque_lbf_ft=least,
        most_torque_lbf_ft=most,
        source=entry.text("source") or source,
    )
