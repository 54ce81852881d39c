"""
A season plan added up again: which hard limits do its own tables break?

Nothing here comes from what makes a plan. Only the words of the season, the places of hydrants and
the catalogue are believed; what the tables say is computed again from them, one day after another.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hydrantgis.season.plainrows import (
    CALENDAR,
    CREW_DAYS,
    DUE_OF_SELECTED,
    DUE_OF_STOPS,
    ORDERS,
    PLACES,
    SELECTION,
    gaps,
    rows_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pandas as pd

    from hydrantgis.standards.kits import Kit, KitCatalogue
    from hydrantgis.standards.season import Crew, SeasonWords

    Row = dict[str, Any]
    Route = tuple[dt.date, str]

CANNOT = "must be done, and cannot be"
"""So begins the reason of a job that is owed and left out."""
FEET_A_MILE = 5280.0
WAY_SHARE = 0.005
"""By which share a way may be shorter than the straight line, or differ from what is due."""
WAY_FT = 1.0
"""By how much it may differ beside that. [ft]"""
HOURS = 0.002
"""By how much one figure in hours may differ. [h]"""
MINUTES = 1.5
"""By how much a time of day may differ. [min]"""
CENT = 0.01
"""By how much money may differ. [money]"""
_TINY = 1e-6
_CLOCK = re.compile(r"(\d{1,2}):([0-5]\d)(?::([0-5]\d))?")
_NEEDS_KIT = ("extend", "exchange")
_FROM = ("shelf", "order")
_WAYS = ("streets", "line")


def faults(
    words: SeasonWords,
    *,
    selection: pd.DataFrame,
    calendar: pd.DataFrame,
    crew_days: pd.DataFrame,
    orders: pd.DataFrame,
    places: pd.DataFrame,
    depot_ft: tuple[float, float],
    catalogue: KitCatalogue,
) -> list[str]:
    """
    Every hard limit that a plan breaks.

    Parameters
    ----------
    words
        What the season has.
    selection, calendar, crew_days, orders
        What the plan says, as these tables are declared.
    places
        `hydrant_id`, `area_id`, `x_ft` and `y_ft` of every hydrant that has a job, on a plane. [ft]
    depot_ft
        Where crews start and end their day, on the same plane. [ft]
    catalogue
        Kits with what is on hand, lead time and cost.

    Returns
    -------
    faults
        A sentence each, with the figures and the hydrant, crew, day, area or kit; none where all
        limits hold. A value that is due and missing is a fault too.

    Notes
    -----
    Hydrants that lie in no area count together as one area.

    Examples
    --------
    >>> import tomllib, pandas as pd
    >>> from hydrantgis.ground import seasons as s
    >>> from hydrantgis.standards.load import load_kits, template_of
    >>> from hydrantgis.standards.seasonfile import season_from_mapping
    >>> words = season_from_mapping(tomllib.loads(template_of("season")), "season.toml")
    >>> places = pd.DataFrame({"hydrant_id": ["A"], "area_id": ["A1"], "x_ft": [0], "y_ft": [0]})
    >>> plan = dict(selection=s.SELECTION.empty(), calendar=s.CALENDAR.empty(),
    ...             crew_days=s.CREW_DAYS.empty(), orders=s.ORDERS.empty())
    >>> faults(words, **plan, places=places, depot_ft=(0, 0), catalogue=load_kits("generic"))
    []
    >>> plan["selection"] = pd.DataFrame({"hydrant_id": ["A"], "selected": [True]})
    >>> "A is selected and not in the calendar" in faults(
    ...     words, **plan, places=places, depot_ft=(0, 0), catalogue=load_kits("generic"))
    True
    """
    told: list[str] = []
    jobs = rows_of("selection", selection, SELECTION, told)
    stops = rows_of("calendar", calendar, CALENDAR, told)
    days = rows_of("crew_days", crew_days, CREW_DAYS, told)
    ordered = [o for o in rows_of("orders", orders, ORDERS, told) if o["item"] in ("kit", None)]
    where = rows_of("places", places, PLACES, told)
    told += gaps("selection", jobs, ("hydrant_id", "selected"))
    told += gaps("selection", [j for j in jobs if j["selected"]], DUE_OF_SELECTED)
    told += gaps("calendar", stops, DUE_OF_STOPS)
    told += gaps("crew_days", days, [c for c in CREW_DAYS if c != "areas"])
    told += gaps("orders", ordered, ("item", "kit_id", "kits", "spares", "to_order", "lead_days"))
    told += gaps("places", where, ("hydrant_id", "x_ft", "y_ft"))
    if not all(math.isfinite(v) for v in depot_ft):
        told.append("the depot has no usable place")
    routes: dict[Route, list[Row]] = defaultdict(list)
    for stop in sorted(stops, key=lambda s: (math.isnan(s["stop"]), s["stop"])):
        if stop["work_date"] is not None and stop["crew_id"] is not None:
            routes[stop["work_date"], stop["crew_id"]].append(stop)
    plan = _Plan(
        words=words,
        jobs=jobs,
        by_id={j["hydrant_id"]: j for j in jobs},
        stops=stops,
        routes=dict(sorted(routes.items())),
        days=days,
        orders=ordered,
        places={p["hydrant_id"]: (p["x_ft"], p["y_ft"]) for p in where},
        areas={p["hydrant_id"]: p["area_id"] for p in where},
        depot=depot_ft,
        crews={crew.crew_id: crew for crew in words.crews},
        kits={kit.kit_id: kit for kit in catalogue.kits()},
    )
    for check in _CHECKS:
        told += check(plan)
    return list(dict.fromkeys(told))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What the plan says, as plain rows, beside what is believed."""

    words: SeasonWords
    jobs: list[Row]
    by_id: Mapping[str | None, Row]
    stops: list[Row]
    routes: Mapping[Route, list[Row]]
    days: list[Row]
    orders: list[Row]
    places: Mapping[str | None, tuple[float, float]]
    areas: Mapping[str | None, str | None]
    depot: tuple[float, float]
    crews: Mapping[str, Crew]
    kits: Mapping[str, Kit]

    @property
    def selected(self) -> list[Row]:
        return [job for job in self.jobs if job["selected"]]

    def area(self, row: Row) -> str | None:
        """As its place says, else as the row does."""
        area: str | None = self.areas.get(row["hydrant_id"], row["area_id"])
        return area

    def by_area(self) -> dict[str | None, list[Row]]:
        """The stops of every area that is worked in."""
        found: dict[str | None, list[Row]] = defaultdict(list)
        for stop in self.stops:
            found[self.area(stop)].append(stop)
        return found

    def lead_days(self, kit_id: str | None) -> int:
        kit = self.kits.get(kit_id or "")
        return self.words.lead_days if kit is None or kit.lead_days is None else kit.lead_days

    def hours_of(self, way_ft: float) -> float:
        return way_ft / (FEET_A_MILE * self.words.speed_mph)


def _agree(plan: _Plan) -> Iterator[str]:
    """Selection and calendar name the same jobs, each once, and say the same of them."""
    listed = Counter(j["hydrant_id"] for j in plan.jobs if j["hydrant_id"])
    planned = Counter(s["hydrant_id"] for s in plan.stops if s["hydrant_id"])
    for title, counts in (("selection", listed), ("calendar", planned)):
        yield from (f"{h} stands {n} times in the {title}" for h, n in counts.items() if n > 1)
    chosen = {j["hydrant_id"] for j in plan.selected if j["hydrant_id"]}
    yield from (f"{h} is in the calendar and not selected" for h in planned if h not in chosen)
    yield from (f"{h} is selected and not in the calendar" for h in sorted(chosen - planned.keys()))
    for job in plan.jobs:
        if job["selected"] is False and job["work_date"] is not None:
            yield f"{job['hydrant_id']} is not selected and has the day {job['work_date']}"
    for stop in plan.stops:
        hydrant, day = stop["hydrant_id"], stop["work_date"]
        job = plan.by_id.get(hydrant, stop)
        for column in ("crew_id", "work_date", "week", "remedy"):
            ours, theirs = stop[column], job[column]
            if None not in (ours, theirs) and ours != theirs:
                yield f"{hydrant}: `{column}` is {ours} in the calendar, {theirs} in the selection"
        if stop["kit_id"] != job["kit_id"]:
            ours, theirs = stop["kit_id"], job["kit_id"]
            yield f"{hydrant}: `kit_id` is {ours} in the calendar, {theirs} in the selection"
        if abs(stop["job_hours"] - job["job_hours"]) > HOURS:
            yield (
                f"{hydrant}: `job_hours` is {_told(stop['job_hours'])} in the calendar, "
                f"{_told(job['job_hours'])} in the selection"
            )
        if hydrant not in plan.places:
            yield f"{hydrant} has no place"
        yield from _week(f"{hydrant}", day, stop["week"])
    for title, rows in (("calendar", plan.stops), ("selection", plan.jobs)):
        for row in rows:
            area = plan.area(row)
            if row["area_id"] != area:
                yield f"{row['hydrant_id']} lies in area {area}, not {row['area_id']} ({title})"


def _week(what: str, day: dt.date | None, week: str | None) -> Iterator[str]:
    if day is None or week is None:
        return
    year, number, _ = day.isocalendar()
    if week != f"{year}-W{number:02d}":
        yield f"{what}: the week of {day} is {year}-W{number:02d}, not {week}"


def _allowed(plan: _Plan) -> Iterator[str]:
    """Every job is on a day of the season, and its crew is there and can do it."""
    words = plan.words
    for stop in plan.stops:
        day, crew = stop["work_date"], plan.crews.get(stop["crew_id"] or "")
        here = f"{stop['hydrant_id']}, crew {stop['crew_id']}, {day}"
        if stop["crew_id"] is not None and crew is None:
            yield f"{here}: there is no such crew"
        if crew is not None and stop["remedy"] is not None and stop["remedy"] not in crew.does:
            yield f"{here}: the crew does not {stop['remedy']}"
        if day is None:
            continue
        if not words.starts_on <= day <= words.ends_on:
            yield f"{here}: outside the season, {words.starts_on} to {words.ends_on}"
        if day in words.holidays:
            yield f"{here}: a holiday"
        for dark in words.blackouts:
            if dark.first_on <= day <= dark.last_on and (
                not dark.areas or plan.area(stop) in dark.areas
            ):
                yield f"{here}: blackout, {dark.title}, {dark.first_on} to {dark.last_on}"
        if crew is None:
            continue
        if day.weekday() not in crew.weekdays:
            yield f"{here}: no weekday of the crew"
        if day in crew.off:
            yield f"{here}: the crew is off"
        if crew.first_on is not None and day < crew.first_on:
            yield f"{here}: the crew is there from {crew.first_on}"
        if crew.last_on is not None and day > crew.last_on:
            yield f"{here}: the crew is there until {crew.last_on}"


def _waits(plan: _Plan) -> Iterator[str]:
    """Nobody is told too late, and no job comes before its kit."""
    words = plan.words
    notice = max(words.fire_days, words.customer_days)
    shelf: Counter[str] = Counter()
    for stop in plan.stops:
        hydrant, day, kit_id, source = (
            stop[c] for c in ("hydrant_id", "work_date", "kit_id", "kit_from")
        )
        if kit_id is None and stop["remedy"] in _NEEDS_KIT:
            yield f"{hydrant}: {stop['remedy']} without a kit"
        if kit_id is not None and kit_id not in plan.kits:
            yield f"{hydrant}: kit {kit_id} is not in the catalogue"
        if source not in _FROM and (kit_id is not None or source is not None):
            yield f"{hydrant}: its kit comes from {source}, not from shelf or order"
        if kit_id is not None and source == "shelf":
            shelf[kit_id] += 1
        if day is None:
            continue
        if day < words.planned_on + dt.timedelta(days=notice):
            yield f"{hydrant}, {day}: to tell of it takes {notice} days from {words.planned_on}"
        lead = plan.lead_days(kit_id)
        waiting = source == "order" or stop["remedy"] == "replace"
        if waiting and day < words.planned_on + dt.timedelta(days=lead):
            yield f"{hydrant}, {day}: its order takes {lead} days from {words.planned_on}"
    for kit_id, taken in shelf.items():
        lies = (plan.kits[kit_id].on_hand or 0) if kit_id in plan.kits else 0
        if taken > lies:
            yield f"kit {kit_id}: {taken} jobs take it from the shelf, where {lies} lie"


def _ways(plan: _Plan) -> Iterator[str]:
    """Stops follow one another, on ways that can be driven, at the times that are told."""
    starts = plan.words.day_starts
    for (day, crew_id), stops in plan.routes.items():
        here = f"crew {crew_id}, {day}"
        numbers = [stop["stop"] for stop in stops]
        if numbers != list(range(1, len(stops) + 1)):
            run = ", ".join(map(_told, numbers))
            yield f"{here}: stops are numbered {run}, not 1 to {len(stops)}"
        at, clock = plan.depot, starts.hour * 60 + starts.minute + starts.second / 60
        free_at = clock
        for stop in stops:
            hydrant = stop["hydrant_id"]
            there = plan.places.get(hydrant, (math.nan, math.nan))
            yield from _leg(plan, stop, math.dist(at, there), f"{hydrant}, {here}")
            clock += 60 * (plan.hours_of(stop["drive_ft"]) + stop["mobilisation_hours"])
            yield from _time(f"{hydrant}, {here}: out from", stop["out_from"], clock)
            clock += 60 * stop["job_hours"]
            yield from _time(f"{hydrant}, {here}: back by", stop["back_by"], clock)
            if _later(_minutes(stop["out_from"]), free_at) < -MINUTES:
                yield f"{hydrant}, {here}: out from {stop['out_from']} overlaps what is before it"
            at, free_at = there, _minutes(stop["back_by"])


def _leg(plan: _Plan, stop: Row, straight_ft: float, here: str) -> Iterator[str]:
    way_ft, by = stop["drive_ft"], stop["way_by"]
    if way_ft < straight_ft * (1 - WAY_SHARE) - _TINY:
        yield f"{here}: a way of {_told(way_ft)} ft where a straight line is {_told(straight_ft)}"
    due_ft = straight_ft * plan.words.street_factor
    if by == "line" and abs(way_ft - due_ft) > due_ft * WAY_SHARE + WAY_FT:
        yield f"{here}: a way by line of {_told(way_ft)} ft, due are {_told(due_ft)}"
    if by is not None and by not in _WAYS:
        yield f"{here}: a way by {by}, not by streets or line"
    if abs(stop["drive_hours"] - plan.hours_of(way_ft)) > HOURS + _TINY:
        yield (
            f"{here}: {_told(stop['drive_hours'])} h for a way of {_told(way_ft)} ft, "
            f"due are {_told(plan.hours_of(way_ft))}"
        )


def _days(plan: _Plan) -> Iterator[str]:
    """Every day of a crew is told once, adds up, and is no longer than the crew is there."""
    told = Counter((d["work_date"], d["crew_id"]) for d in plan.days)
    for (day, crew_id), times in told.items():
        if times > 1:
            yield f"crew {crew_id}, {day}: stands {times} times in crew_days"
        if (day, crew_id) not in plan.routes:
            yield f"crew {crew_id}, {day}: stands in crew_days and has no job"
    for day, crew_id in plan.routes:
        if (day, crew_id) not in told:
            yield f"crew {crew_id}, {day}: has jobs and does not stand in crew_days"
    for row in plan.days:
        day, crew_id = row["work_date"], row["crew_id"]
        stops = plan.routes.get((day, crew_id))
        here = f"crew {crew_id}, {day}"
        yield from _week(here, day, row["week"])
        crew = plan.crews.get(crew_id or "")
        if stops is None or crew is None:
            continue
        work = sum(stop["job_hours"] for stop in stops)
        first_in = sum(stop["mobilisation_hours"] for stop in stops)
        driving = plan.hours_of(row["drive_ft"])
        several = HOURS * (len(stops) + 1)
        for column, due, off in (
            ("jobs", float(len(stops)), 0.0),
            ("work_hours", work, several),
            ("mobilisation_hours", first_in, several),
            ("drive_hours", driving, HOURS),
            ("hours_there", crew.hours_a_day, 0.0),
        ):
            if abs(row[column] - due) > off + _TINY:
                yield f"{here}: `{column}` is {_told(row[column])}, due are {_told(due)}"
        home_ft = row["drive_ft"] - sum(stop["drive_ft"] for stop in stops)
        last = plan.places.get(stops[-1]["hydrant_id"], (math.nan, math.nan))
        straight_ft = math.dist(last, plan.depot)
        if home_ft < straight_ft * (1 - WAY_SHARE) - WAY_FT:
            yield (
                f"{here}: a way home of {_told(home_ft)} ft where a straight line is "
                f"{_told(straight_ft)}"
            )
        total = work + first_in + driving
        if total > crew.hours_a_day + HOURS:
            yield f"{here}: takes {_told(total)} h, the crew is there {_told(crew.hours_a_day)}"
        starts = plan.words.day_starts
        ends = starts.hour * 60 + starts.minute + starts.second / 60 + 60 * total
        yield from _time(f"{here}: back at", row["back_at"], ends)


def _mobilised(plan: _Plan) -> Iterator[str]:
    """Every area that is worked in is opened once, by the first who comes."""
    due = plan.words.area_hours
    for area, stops in plan.by_area().items():
        opened = [s for s in stops if abs(s["mobilisation_hours"]) > _TINY]
        if len(opened) != 1 and due > 0:
            yield f"area {area}: mobilisation stands {len(opened)} times, due is once"
        first = min((s["work_date"] for s in stops if s["work_date"] is not None), default=None)
        for stop in opened:
            here = f"{stop['hydrant_id']}, crew {stop['crew_id']}, {stop['work_date']}"
            if abs(stop["mobilisation_hours"] - due) > HOURS:
                hours = _told(stop["mobilisation_hours"])
                yield f"{here}: mobilisation of {hours} h, due are {_told(due)}"
            if stop["work_date"] != first:
                yield f"{here}: mobilisation of area {area}, whose first day is {first}"
            mates = plan.routes.get((stop["work_date"], stop["crew_id"]), [])
            if any(s["stop"] < stop["stop"] and plan.area(s) == area for s in mates):
                yield f"{here}: mobilisation of area {area} is not at the first stop in it"


def _spaced(plan: _Plan) -> Iterator[str]:
    """No two neighbours are out of service on one day."""
    out: dict[dt.date, list[str]] = defaultdict(list)
    for stop in plan.stops:
        if stop["work_date"] is not None and stop["hydrant_id"] in plan.places:
            out[stop["work_date"]].append(stop["hydrant_id"])
    for day, hydrants in sorted(out.items()):
        x, y = np.array([plan.places[hydrant] for hydrant in hydrants]).T
        away = np.hypot(x[:, None] - x, y[:, None] - y)
        for one, other in np.argwhere(np.triu(away < plan.words.apart_ft - _TINY, k=1)):
            yield (
                f"{hydrants[one]} and {hydrants[other]}, {day}: out of service together, "
                f"{_told(away[one, other])} ft apart, due are {_told(plan.words.apart_ft)}"
            )


def _paid(plan: _Plan) -> Iterator[str]:
    """Each job costs what it must, and all together what there is."""
    words = plan.words
    for job in plan.selected:
        hydrant, remedy, hours = job["hydrant_id"], job["remedy"], job["job_hours"]
        if remedy is not None and remedy not in words.hours:
            yield f"{hydrant}: the season has no hours for {remedy}"
            continue
        least = words.hours.get(remedy, 0.0) + words.dig_hours + words.stop_hours
        if hours < least - HOURS:
            yield f"{hydrant}: {_told(hours)} h, {remedy} takes {_told(least)} or more"
        kit = plan.kits.get(job["kit_id"] or "")
        least = hours * words.hour_cost + words.materials.get(remedy, 0.0)
        least += (kit.unit_cost or 0.0) if kit is not None else 0.0
        if job["job_cost"] < least - CENT:
            yield f"{hydrant}: costs {_told(job['job_cost'])}, {_told(least)} or more are due"
    driving = plan.hours_of(sum(day["drive_ft"] for day in plan.days))
    areas = len(plan.by_area())
    cost = sum(job["job_cost"] for job in plan.selected) + driving * words.hour_cost
    cost += areas * (words.area_cost + words.area_hours * words.hour_cost)
    if cost > words.available + CENT:
        yield f"the season costs {_told(cost)}, there are {_told(words.available)}"
    hours = sum(stop["job_hours"] + stop["mobilisation_hours"] for stop in plan.stops) + driving
    most = words.most_crew_hours
    if most is not None and hours > most + CENT:
        yield f"the season takes {_told(hours)} crew hours, there are {_told(most)}"


def _owed(plan: _Plan) -> Iterator[str]:
    """What must be done is, what may not be is not, and areas get their share."""
    words = plan.words
    chosen = {job["hydrant_id"] for job in plan.selected}
    for hydrant in words.must:
        if hydrant in chosen:
            continue
        if hydrant not in plan.by_id:
            yield f"{hydrant} must be done and is not in the selection"
        elif not (plan.by_id[hydrant]["why"] or "").startswith(CANNOT):
            yield f"{hydrant} must be done, is not selected, and no reason says that it cannot be"
    for hydrant in words.never:
        if hydrant in chosen:
            yield f"{hydrant} may never be done and is selected"
    for job in plan.jobs:
        hydrant, decision = job["hydrant_id"], job["decision"]
        if decision == "exclude" and job["selected"]:
            yield f"{hydrant}: the planner says exclude, and it is selected"
        elif decision == "include" and not job["selected"]:
            if not (job["why"] or "").startswith(CANNOT):
                yield f"{hydrant}: the planner says include; it is left out without saying why"
        elif decision not in ("include", "exclude", None):
            yield f"{hydrant}: the planner says {decision}, which is neither include nor exclude"
    done = Counter(plan.area(job) for job in plan.selected)
    for area, least in words.least.items():
        if chosen and done[area] < least:
            yield f"area {area}: {done[area]} jobs, {least} are owed"


def _ordered(plan: _Plan) -> Iterator[str]:
    """What jobs need and the shelf lacks is ordered, in time."""
    words = plan.words
    need = Counter(j["kit_id"] for j in plan.selected if j["kit_id"] is not None)
    first: dict[str, dt.date] = {}
    for stop in plan.stops:
        kit_id, day = stop["kit_id"], stop["work_date"]
        if stop["kit_from"] == "order" and kit_id is not None and day is not None:
            first[kit_id] = min(day, first.get(kit_id, day))
    stand = Counter(order["kit_id"] for order in plan.orders)
    for kit_id, times in need.items():
        if kit_id not in stand:
            yield f"kit {kit_id}: {times} are needed, and it is not among the orders"
    for order in plan.orders:
        kit_id, spares, order_by = order["kit_id"], order["spares"], order["order_by"]
        here = f"kit {kit_id}"
        if stand[kit_id] > 1:
            yield f"{here}: stands {stand[kit_id]} times among the orders"
        kit = plan.kits.get(kit_id or "")
        if kit is None:
            yield f"{here}: is ordered and not in the catalogue"
            continue
        if order["kits"] != need[kit_id] and not math.isnan(order["kits"]):
            yield f"{here}: {_told(order['kits'])} needed, {need[kit_id]} jobs take it"
        told = None if math.isnan(order["on_hand"]) else order["on_hand"]
        if told != kit.on_hand:
            yield f"{here}: {told} on hand, the catalogue says {kit.on_hand}"
        least = math.ceil(words.spares_share * need[kit_id] - _TINY)
        if spares < least:
            yield f"{here}: {_told(spares)} spares, {least} or more are due"
        lacks = max(need[kit_id] + spares - (kit.on_hand or 0), 0)
        if abs(order["to_order"] - lacks) > _TINY:
            yield f"{here}: {_told(order['to_order'])} to order, the shelf lacks {_told(lacks)}"
        lead = plan.lead_days(kit_id)
        if abs(order["lead_days"] - lead) > 0:
            yield f"{here}: lead time of {_told(order['lead_days'])} days, due are {lead}"
        waiting = kit_id in first
        use = first.get(kit_id, order["first_use"])
        if waiting and order["first_use"] != use:
            yield f"{here}: first use {order['first_use']}, the first job is on {use}"
        if waiting and order_by is None:
            yield f"{here}: jobs wait for it, and it has no `order_by`"
        if order_by is None or use is None:
            continue
        if order_by > use - dt.timedelta(days=lead):
            yield f"{here}: order by {order_by} is less than {lead} days before {use}"
        if waiting and order_by < words.planned_on:
            yield f"{here}: order by {order_by}, before {words.planned_on}"


_CHECKS = (
    _agree, _allowed, _waits, _ways, _days, _mobilised, _spaced, _paid, _owed, _ordered,
)  # fmt: skip


def _time(what: str, told: str | None, due: float) -> Iterator[str]:
    """A fault where the time told is not the time due. [min after midnight]"""
    at = _minutes(told)
    if told is not None and math.isnan(at):
        yield f"{what}: {told} is no time of day"
    elif abs(_later(at, due)) > MINUTES:
        hour, minute = divmod(round(due) % 1440, 60)
        yield f"{what} {told}, due is {hour:02d}:{minute:02d}"


def _minutes(told: str | None) -> float:
    """Minutes after midnight; not a number where that is no time."""
    found = _CLOCK.fullmatch(told or "")
    if found is None:
        return math.nan
    hour, minute, second = (float(part or 0) for part in found.groups())
    return hour * 60 + minute + second / 60


def _later(one: float, other: float) -> float:
    """By how much a time of day is later than another, at most half a day either way. [min]"""
    return (one - other + 720.0) % 1440.0 - 720.0


def _told(value: float) -> str:
    return f"{value:,.3f}".rstrip("0").rstrip(".")
