"""
A season from its file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SettingsError
from hydrantgis.ground.results import KIT_REMEDIES
from hydrantgis.ground.settings import SettingsReader
from hydrantgis.standards.season import (
    PARTS,
    WEEKDAYS,
    Blackout,
    Consumable,
    Crew,
    Depot,
    SeasonWords,
)

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

OTHER_WORK = ("replace", "lower", "regrade")
"""Remedies that are planned where the file says how long they take and what they cost."""
_MOST_HOURS_A_DAY, _MOST_MPH = 24.0, 75.0


def season_from_mapping(mapping: Mapping[str, Any], name: str) -> SeasonWords:
    """
    A season from what its file holds.

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
    texts = {
        key: reader.text(key, required=True) for key in ("season_id", "title", "money", "source")
    }
    days = {
        key: reader.date(key, required=True)
        for key in ("starts_on", "ends_on", "planned_on", "read_on")
    }
    _in_order(reader, days["starts_on"], days["ends_on"], "starts_on", "ends_on")
    money = {
        "budget": reader.number("budget", required=True, least=0),
        "hour_cost": reader.number("hour_cost", required=True, least=0),
        "contingency_share": reader.number("contingency_share", least=0, most=1) or 0.0,
        "most_crew_hours": reader.number("most_crew_hours", least=0),
    }
    work = _work(reader)
    who = {
        "day_starts": reader.time("day_starts", required=True),
        "holidays": reader.dates("holidays"),
        "crews": _crews(reader, tuple(work["hours"])),
        "blackouts": _blackouts(reader),
        "depot": _depot(reader.part("depot", required=True)),
    }
    told = {**_driving(reader), **_orders(reader), **_priorities(reader), **_jobs(reader)}
    reader.finish()
    if None in (*texts.values(), *days.values(), money["budget"], who["day_starts"], who["depot"]):
        raise SettingsError(f"{name} is incomplete")  # pragma: no cover - finish told it
    return SeasonWords(**texts, **days, **money, **work, **who, **told)  # type: ignore[arg-type] # none is missing by now


def _in_order(
    reader: SettingsReader, first: dt.date | None, last: dt.date | None, one: str, other: str
) -> None:
    if first is not None and last is not None and first > last:
        reader.problem(other, f"{last} lies before `{one}`")


def _crews(reader: SettingsReader, planned: tuple[str, ...]) -> tuple[Crew, ...]:
    crews: list[Crew] = []
    for part in reader.parts("crew", required=True):
        crew_id = part.text("crew_id", required=True) or ""
        if crew_id in {known.crew_id for known in crews}:
            part.problem("crew_id", f"{crew_id!r} stands twice")
        does = part.texts("does") or planned
        for remedy in does:
            if remedy not in (*KIT_REMEDIES, *OTHER_WORK):
                part.problem(
                    "does", f"{remedy!r} is none of {', '.join(KIT_REMEDIES + OTHER_WORK)}"
                )
        names = part.texts("weekdays")
        for day in names:
            if day not in WEEKDAYS:
                part.problem("weekdays", f"{day!r} is none of {', '.join(WEEKDAYS)}")
        first, last = part.date("first_on"), part.date("last_on")
        _in_order(part, first, last, "first_on", "last_on")
        hours = part.number("hours_a_day", required=True, least=0, most=_MOST_HOURS_A_DAY)
        crews.append(
            Crew(
                crew_id=crew_id, does=does, hours_a_day=hours or 0.0,
                weekdays=tuple(sorted(WEEKDAYS.index(day) for day in names if day in WEEKDAYS)),
                first_on=first, last_on=last, off=part.dates("off"),
            )
        )  # fmt: skip
    return tuple(crews)


def _blackouts(reader: SettingsReader) -> tuple[Blackout, ...]:
    found: list[Blackout] = []
    for part in reader.parts("blackout"):
        title = part.text("title", required=True)
        first, last = part.date("first_on", required=True), part.date("last_on", required=True)
        _in_order(part, first, last, "first_on", "last_on")
        areas = part.texts("areas")
        if title is not None and first is not None and last is not None:
            found.append(Blackout(title=title, first_on=first, last_on=last, areas=areas))
    return tuple(found)


def _depot(part: SettingsReader) -> Depot | None:
    x, y = (part.number(key, required=True) for key in ("x", "y"))
    crs = part.text("crs", required=True)
    return None if x is None or y is None or crs is None else Depot(x=x, y=y, crs=crs)


def _driving(reader: SettingsReader) -> dict[str, Any]:
    travel, spacing = reader.part("travel", required=True), reader.part("spacing", required=True)
    area, notices = reader.part("mobilisation"), reader.part("notices", required=True)
    return {
        "speed_mph": travel.number("speed_mph", required=True, above=0, most=_MOST_MPH),
        "street_factor": travel.number("street_factor", required=True, least=1),
        "stop_hours": travel.number("stop_hours", least=0) or 0.0,
        "apart_ft": spacing.number("apart_ft", required=True, least=0),
        "area_cost": area.number("cost", least=0) or 0.0,
        "area_hours": area.number("hours", least=0) or 0.0,
        "fire_days": notices.whole("fire_department_days", required=True),
        "customer_days": notices.whole("customer_days", required=True),
    }


def _work(reader: SettingsReader) -> dict[str, Any]:
    """Hours and materials by remedy, and what digging adds."""
    of_hours, of_materials = reader.part("hours", required=True), reader.part("materials")
    hours = {remedy: of_hours.number(remedy, required=True, above=0) for remedy in KIT_REMEDIES}
    materials = {remedy: of_materials.number(remedy, least=0) for remedy in KIT_REMEDIES}
    for remedy in OTHER_WORK:
        time, cost = of_hours.number(remedy, above=0), of_materials.number(remedy, least=0)
        if (time is None) != (cost is None):
            of_hours.problem(remedy, "say how long it takes here and what it costs in [materials]")
        if time is not None:
            hours[remedy], materials[remedy] = time, cost
    digging = reader.part("digging")
    return {
        "hours": {remedy: value or 0.0 for remedy, value in hours.items()},
        "materials": {remedy: value or 0.0 for remedy, value in materials.items()},
        "dig_hours": digging.number("hours", least=0) or 0.0,
        "dig_hours_per_ft": digging.number("hours_per_ft", least=0) or 0.0,
    }


def _orders(reader: SettingsReader) -> dict[str, Any]:
    orders = reader.part("orders", required=True)
    consumables = tuple(
        Consumable(
            item=part.text("item", required=True) or "",
            a_job=part.number("a_job", required=True, above=0) or 0.0,
            unit_cost=part.number("unit_cost", least=0),
        )
        for part in reader.parts("consumable")
    )
    return {
        "lead_days": orders.whole("lead_days", required=True),
        "spares_share": orders.number("spares_share", least=0, most=1) or 0.0,
        "repair_kits_a_crew": orders.whole("repair_kits_a_crew") or 0,
        "consumables": consumables,
    }


def _priorities(reader: SettingsReader) -> dict[str, Any]:
    of_weights = reader.part("weights", required=True)
    weights = {part: of_weights.number(part, required=True, least=0) or 0.0 for part in PARTS}
    if not any(weights.values()):
        of_weights.problem(PARTS[0], "all weights are 0: no job is worth more than another")
    protects = reader.part("protects", required=True)
    classes = protects.part("classes")
    return {
        "weights": weights,
        "protects_ft": protects.number("within_ft", required=True, least=0),
        "protects": {
            key: classes.number(key, required=True, least=0, most=1) or 0.0 for key in classes.keys
        },
    }


def _jobs(reader: SettingsReader) -> dict[str, Any]:
    jobs = reader.part("jobs")
    must, never = jobs.texts("must"), jobs.texts("never")
    both = sorted(set(must) & set(never))
    if both:
        jobs.problem("never", f"{both[0]!r} must be done too")
    least: dict[str, int] = {}
    for part in reader.parts("share"):
        where, many = part.text("area", required=True), part.whole("least", required=True)
        if where in least:
            part.problem("area", f"{where!r} stands twice")
        if where is not None and many is not None:
            least[where] = many
    return {
        "must": must, "never": never, "least": least,
        "flange_first": jobs.flag("flange_first", default=False),
    }  # fmt: skip
