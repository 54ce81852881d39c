"""A plan is added up again: a sound one has no fault, and each limit that is broken is told.

The plan below is worked out by hand. Crews drive 10 miles an hour, so that 52,800 ft take an hour
and 880 ft a minute; an hour of a crew costs 100.
"""

from __future__ import annotations

import ast
import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.seasons import CALENDAR, CREW_DAYS, ORDERS, SELECTION
from hydrantgis.season import plainrows, proof
from hydrantgis.standards.kits import Family, HouseRules, Kit, KitCatalogue
from hydrantgis.standards.season import Blackout, Crew, Depot, SeasonWords


def april(day: int) -> dt.date:
    return dt.date(2027, 4, day)


WORDS = SeasonWords(
    season_id="2027", title="Season 2027", starts_on=april(1), ends_on=dt.date(2027, 6, 30),
    planned_on=dt.date(2027, 3, 20), money="USD", source="invented", read_on=dt.date(2027, 3, 1),
    budget=9400, contingency_share=0.1, hour_cost=100, most_crew_hours=21.2,
    day_starts=dt.time(7),
    crews=(
        Crew(crew_id="1", does=("extend", "exchange"), hours_a_day=8, weekdays=(0, 1, 2, 3),
             off=(april(14),)),
        Crew(crew_id="2", does=("extend", "remove", "replace"), hours_a_day=10,
             weekdays=(1, 2, 3, 4), first_on=april(5), last_on=dt.date(2027, 6, 11)),
    ),
    holidays=(dt.date(2027, 5, 31),),
    blackouts=(
        Blackout(title="fair", first_on=dt.date(2027, 5, 3), last_on=dt.date(2027, 5, 7)),
        Blackout(title="paving", first_on=april(19), last_on=april(23), areas=("C",)),
    ),
    depot=Depot(x=0, y=0, crs="EPSG:2249"), speed_mph=10, street_factor=1.25, stop_hours=0.25,
    hours={"extend": 1, "exchange": 1.5, "remove": 1, "replace": 4},
    materials={"extend": 40, "exchange": 40, "remove": 20, "replace": 5000},
    dig_hours=0.25, dig_hours_per_ft=1, area_cost=300, area_hours=1, apart_ft=600, fire_days=2,
    customer_days=3, lead_days=30, spares_share=0.1, repair_kits_a_crew=1, consumables=(),
    weights={"severity": 1}, protects_ft=500, protects={"*": 1}, must=("H1", "H9"),
    never=("H11",), least={"A": 3, "C": 1}, flange_first=False,
)  # fmt: skip
KITS = (
    Kit(kit_id="A-6", length_in=6, unit_cost=50, on_hand=2, lead_days=20),
    Kit(kit_id="A-12", length_in=12),
)
PLACES = [
    ("H1", "A", 6336, 8448), ("H2", "A", 6336, 11088), ("H3", "B", -4224, 0),
    ("H4", "B", -4224, 3168), ("H5", "A", 0, 10560), ("H6", "C", 0, 15840), ("H7", "B", -8448, 0),
    ("H8", "B", -8448, 3168), ("H9", "A", 9000, 0), ("H10", "B", 9000, 1000),
    ("H11", "C", 9000, 2000), ("H12", "C", 9000, 3000),
]  # fmt: skip
STOP_COLUMNS = [
    "work_date", "crew_id", "stop", "hydrant_id", "remedy", "kit_id", "kit_from", "out_from",
    "back_by", "job_hours", "drive_ft", "drive_hours", "way_by", "mobilisation_hours",
]  # fmt: skip
# H1: 3-4-5 times 2,112 are 10,560 ft, by line 13,200, 15 minutes; then an hour for area A.
STOPS = [
    (5, "1", 1, "H1", "extend", "A-6", "shelf", "08:15", "09:45", 1.5, 13200, 0.25, "line", 1),
    (5, "1", 2, "H2", "exchange", "A-6", "shelf", "09:51", "11:51", 2, 5280, 0.1, "streets", 0),
    (6, "2", 1, "H3", "remove", None, None, "08:06", "09:36", 1.5, 5280, 0.1, "line", 1),
    (6, "2", 2, "H4", "remove", None, None, "09:42", "11:12", 1.5, 5280, 0.1, "streets", 0),
    (12, "1", 1, "H5", "extend", "A-6", "order", "07:15", "08:45", 1.5, 13200, 0.25, "line", 0),
    (12, "1", 2, "H6", "extend", "A-6", "order", "09:57", "11:27", 1.5, 10560, 0.2, "streets", 1),
    (20, "2", 1, "H7", "replace", None, None, "07:12", "11:42", 4.5, 10560, 0.2, "streets", 0),
    (20, "2", 2, "H8", "extend", "A-12", "order", "11:48", "13:33", 1.75, 5280, 0.1, "streets", 0),
]  # fmt: skip
WEEKS = {5: "2027-W14", 6: "2027-W14", 12: "2027-W15", 20: "2027-W16", 27: "2027-W17"}
# Hours x 100, materials, and 50 for each A-6; nobody says what an A-12 costs.
COSTS = {"H1": 240, "H2": 290, "H3": 170, "H4": 170, "H5": 240, "H6": 240, "H7": 5450, "H8": 215}
DAY_COLUMNS = [
    "work_date", "crew_id", "areas", "jobs", "work_hours", "mobilisation_hours", "drive_hours",
    "drive_ft", "hours_there", "back_at",
]  # fmt: skip
# Ways home: 15,840 after H2, 10,560 after H4, 21,120 after H6, 10,560 after H8.
DAYS = [
    (5, "1", "A", 2, 3.5, 1, 0.65, 34320, 8, "12:09"),
    (6, "2", "B", 2, 3, 1, 0.4, 21120, 10, "11:24"),
    (12, "1", "A, C", 2, 3, 1, 0.85, 44880, 8, "11:51"),
    (20, "2", "B", 2, 6.25, 0, 0.5, 26400, 10, "13:45"),
]
# Together 7,015 for jobs, 3 x 400 for areas and 2.4 h of driving: 8,455 of 8,460; 21.15 h of 21.2.
ORDER_COLUMNS = [
    "item", "kit_id", "kits", "on_hand", "spares", "to_order", "lead_days", "first_use", "order_by",
]  # fmt: skip
ORDERED = [
    ("kit", "A-6", 4, 2, 1, 3, 20, april(12), dt.date(2027, 3, 23)),
    ("kit", "A-12", 1, None, 1, 2, 30, april(20), dt.date(2027, 3, 21)),
    ("hydrant", None, 1, None, 0, 1, 30, april(20), dt.date(2027, 3, 21)),
    ("consumable", "cap gaskets", 24, None, 0, 24, 30, None, None),
]
LEFT_OUT = [
    ("H9", "must be done, and cannot be: no crew does it", None),
    ("H10", "the planner leaves it out", "exclude"),
    ("H11", "never", None),
    ("H12", "must be done, and cannot be: no day is left", "include"),
]


@dataclass
class Plan:
    """The plan as tables that a test may break."""

    words: SeasonWords
    catalogue: KitCatalogue
    selection: pd.DataFrame
    calendar: pd.DataFrame
    crew_days: pd.DataFrame
    orders: pd.DataFrame
    places: pd.DataFrame
    depot_ft: tuple[float, float] = (0.0, 0.0)

    def faults(self) -> list[str]:
        return proof.faults(**{name: getattr(self, name) for name in self.__dataclass_fields__})

    def say(self, **words) -> None:
        self.words = replace(self.words, **words)

    def crew(self, crew_id: str, **words) -> None:
        self.say(crews=tuple(
            replace(crew, **words) if crew.crew_id == crew_id else crew for crew in self.words.crews
        ))  # fmt: skip

    def kit(self, kit_id: str, **words) -> None:
        kits = self.catalogue.families[0].kits
        kits = tuple(replace(k, **words) if k.kit_id == kit_id else k for k in kits)
        family = replace(self.catalogue.families[0], kits=kits)
        self.catalogue = replace(self.catalogue, families=(family,))

    def put(self, tables: str, which: str | int, **values) -> None:
        """Other values in the rows of a hydrant or a kit, or in the row of that number."""
        for table in tables.split():
            frame = getattr(self, table).copy()
            key = "kit_id" if table == "orders" else "hydrant_id"
            rows = frame.index == which if isinstance(which, int) else frame[key] == which
            assert rows.any()
            for column, value in values.items():
                frame[column] = frame[column].astype(object)
                frame.loc[rows, column] = value
            setattr(self, table, frame)

    def drop(self, table: str, row: int) -> None:
        setattr(self, table, getattr(self, table).drop(index=row).reset_index(drop=True))

    def twice(self, table: str, row: int) -> None:
        frame = getattr(self, table)
        setattr(self, table, frame.iloc[[*range(len(frame)), row]].reset_index(drop=True))

    def move(self, was: int, now: int) -> None:
        """All jobs of a day to another."""
        for table in ("selection", "calendar", "crew_days"):
            frame = getattr(self, table).copy()
            rows = frame["work_date"] == pd.Timestamp(april(was))
            frame.loc[rows, "work_date"] = pd.Timestamp(april(now))
            frame.loc[rows, "week"] = WEEKS[now]
            setattr(self, table, frame)


def sound() -> Plan:
    calendar = pd.DataFrame(STOPS, columns=STOP_COLUMNS)
    areas = {hydrant: area for hydrant, area, _, _ in PLACES}
    calendar["area_id"] = calendar["hydrant_id"].map(areas)
    crew_days = pd.DataFrame(DAYS, columns=DAY_COLUMNS)
    for frame in (calendar, crew_days):
        frame["week"] = frame["work_date"].map(WEEKS)
        frame["work_date"] = pd.to_datetime(frame["work_date"].map(april))
    chosen = calendar.assign(
        selected=True, why="chosen", job_cost=calendar["hydrant_id"].map(COSTS), decision=None
    )
    chosen.loc[chosen["hydrant_id"] == "H1", "decision"] = "include"
    left = pd.DataFrame(LEFT_OUT, columns=["hydrant_id", "why", "decision"]).assign(selected=False)
    left["area_id"], left["remedy"] = left["hydrant_id"].map(areas), "extend"
    orders = pd.DataFrame(ORDERED, columns=ORDER_COLUMNS)
    return Plan(
        words=WORDS,
        catalogue=KitCatalogue(
            catalogue_id="invented", title="Invented", source="invented", read_on=april(1),
            families=(Family(name="*", kits=KITS),), house=HouseRules(),
        ),
        selection=pd.DataFrame(SELECTION.conform(pd.concat([chosen, left], ignore_index=True))),
        calendar=pd.DataFrame(CALENDAR.conform(calendar)),
        crew_days=CREW_DAYS.conform(crew_days),
        orders=ORDERS.conform(orders),
        places=pd.DataFrame(PLACES, columns=["hydrant_id", "area_id", "x_ft", "y_ft"]),
    )  # fmt: skip


def one_more(plan: Plan) -> None:
    """H12 is selected, within a larger budget, and stands on no day."""
    plan.say(budget=99_000)
    plan.put(
        "selection", "H12", selected=True, remedy="remove", job_hours=1.5, job_cost=170,
        crew_id="2", work_date=pd.Timestamp(april(20)), week=WEEKS[20],
    )  # fmt: skip


def longer_in_selection(plan: Plan) -> None:
    plan.say(budget=99_000)
    plan.put("selection", "H1", job_hours=1.6, job_cost=250)


def shorter_home(plan: Plan) -> None:
    """Home from H2 in 12,672 ft, where the straight line is 12,770."""
    plan.put("crew_days", 0, drive_ft=31152, drive_hours=0.59, back_at="12:05")


def too_long_a_day(plan: Plan) -> None:
    """The first day takes 3.5 h of work, 1 h of mobilisation and 0.65 h of driving."""
    plan.crew("1", hours_a_day=5.1)
    for row in (0, 2):
        plan.put("crew_days", row, hours_there=5.1)


def opened_second(plan: Plan) -> None:
    """H5 is of area C too, and comes before H6, where C is opened."""
    plan.say(least={})
    plan.put("selection calendar places", "H5", area_id="C")


def fewer_spares(plan: Plan) -> None:
    plan.put("orders", "A-6", spares=0, to_order=2)


def empty(plan: Plan) -> None:
    plan.selection["selected"] = False
    plan.selection["work_date"] = pd.NaT
    plan.selection["why"] = "must be done, and cannot be: there is no money"
    plan.calendar, plan.crew_days = plan.calendar.iloc[:0], plan.crew_days.iloc[:0]
    plan.orders = plan.orders.iloc[:0]


Break = Callable[[Plan], object]
ANYTHING = ""
WAY = r"out from|back by|back at|hours`|mobilisation"
# What is broken; what is told of it; what else may be told, nothing where that is left out.
CASES: dict[str, tuple[Break, str] | tuple[Break, str, str]] = {
    "a job twice in the calendar": (
        lambda p: p.twice("calendar", 7), "H8 stands 2 times in the calendar", ANYTHING),
    "a job twice in the selection": (
        lambda p: p.twice("selection", 9), "H10 stands 2 times in the selection"),
    "planned and not selected": (
        lambda p: p.put("selection", "H4", selected=False),
        "H4 is in the calendar and not selected", "H4 is not selected and has the day"),
    "selected and not planned": (one_more, "H12 is selected and not in the calendar"),
    "a day and not selected": (
        lambda p: p.put("selection", "H10", work_date=april(20)),
        "H10 is not selected and has the day 2027-04-20"),
    "another crew": (
        lambda p: p.put("selection", "H1", crew_id="2"),
        "H1: `crew_id` is 1 in the calendar, 2 in the selection"),
    "another day": (
        lambda p: p.put("selection", "H1", work_date=april(6)),
        "H1: `work_date` is 2027-04-05 in the calendar, 2027-04-06 in"),
    "another week": (
        lambda p: p.put("selection", "H1", week="2027-W15"),
        "H1: `week` is 2027-W14 in the calendar, 2027-W15 in"),
    "another remedy": (
        lambda p: p.put("selection", "H5", remedy="exchange"),
        "H5: `remedy` is extend in the calendar, exchange in", "H5: 1.5 h, exchange takes 2 or"),
    "another kit": (
        lambda p: p.put("calendar", "H1", kit_id="A-12"),
        "H1: `kit_id` is A-12 in the calendar, A-6 in", "kit A-12: 1 jobs take it from the shelf"),
    "other hours": (
        longer_in_selection, "H1: `job_hours` is 1.5 in the calendar, 1.6 in the selection"),
    "a week that is not of the day": (
        lambda p: p.put("calendar selection", "H1", week="2027-W15"),
        "H1: the week of 2027-04-05 is 2027-W14, not 2027-W15"),
    "a week that is not of the crew's day": (
        lambda p: p.put("crew_days", 0, week="2027-W15"),
        "crew 1, 2027-04-05: the week of 2027-04-05 is 2027-W14, not 2027-W15"),
    "another area in the calendar": (
        lambda p: p.put("calendar", "H4", area_id="C"), r"H4 lies in area B, not C \(calendar"),
    "another area in the selection": (
        lambda p: p.put("selection", "H4", area_id=None), r"H4 lies in area B, not None \(sel"),
    "no place": (
        lambda p: p.drop("places", 7), "H8 has no place"),
    # --- days
    "before the season": (
        lambda p: p.say(starts_on=april(6)),
        "H1, crew 1, 2027-04-05: outside the season, 2027-04-06 to", "H2.*outside the season"),
    "after the season": (
        lambda p: p.say(ends_on=april(19)), "H7.*2027-04-20: outside the season", "H8.*outside"),
    "a holiday": (
        lambda p: p.say(holidays=(april(12),)), "H5, crew 1, 2027-04-12: a holiday", "H6.*holiday"),
    "no weekday of the crew": (
        lambda p: p.crew("2", weekdays=(0, 2)), "H3, crew 2, 2027-04-06: no weekday", "no weekday"),
    "a day off": (
        lambda p: p.crew("1", off=(april(5),)), "H1.*: the crew is off", "H2.*: the crew is off"),
    "before the crew comes": (
        lambda p: p.crew("2", first_on=april(7)), "H3.*: the crew is there from 2027-04-07",
        "H4.*there from"),
    "after the crew has gone": (
        lambda p: p.crew("2", last_on=april(19)), "H7.*: the crew is there until 2027-04-19",
        "H8.*there until"),
    "a blackout everywhere": (
        lambda p: p.say(blackouts=(Blackout(title="fair", first_on=april(5), last_on=april(5)),)),
        "H1.*: blackout, fair, 2027-04-05 to 2027-04-05", "H2.*: blackout, fair"),
    "a blackout of the area": (
        lambda p: p.say(blackouts=(
            Blackout(title="fair", first_on=april(12), last_on=april(13), areas=("C",)),)),
        "H6, crew 1, 2027-04-12: blackout, fair"),
    "no such crew": (
        lambda p: p.say(crews=p.words.crews[:1]), "H3.*: there is no such crew", "no such crew"),
    "a crew that does not do it": (
        lambda p: p.crew("2", does=("extend", "remove")), "H7.*: the crew does not replace"),
    # --- notices and kits
    "the fire department told too late": (
        lambda p: p.say(fire_days=17),
        "H1, 2027-04-05: to tell of it takes 17 days from 2027-03-20",
        "H2, 2027-04-05: to tell of it takes 17"),
    "customers told too late": (
        lambda p: p.say(customer_days=17),
        "H1, 2027-04-05: to tell of it takes 17 days from 2027-03-20",
        "H2, 2027-04-05: to tell of it takes 17"),
    "before its kit comes": (
        lambda p: p.kit("A-6", lead_days=24),
        "H5, 2027-04-12: its order takes 24 days from 2027-03-20",
        "H6.*its order takes|kit A-6: (lead time|order by)"),
    "before its hydrant comes": (
        lambda p: (p.say(lead_days=32), p.kit("A-12", lead_days=30)),
        "H7, 2027-04-20: its order takes 32 days from 2027-03-20"),
    "before its kit comes, where the season says when": (
        lambda p: p.say(lead_days=32), "H8, 2027-04-20: its order takes 32 days",
        "H7.*its order takes|kit A-12: (lead time|order by)"),
    "more than the shelf has": (
        lambda p: p.kit("A-6", on_hand=1),
        "kit A-6: 2 jobs take it from the shelf, where 1 lie", "kit A-6: "),
    "from a shelf that nobody knows": (
        lambda p: p.put("calendar", "H8", kit_from="shelf"),
        "kit A-12: 1 jobs take it from the shelf, where 0 lie"),
    "a kit from nowhere": (
        lambda p: p.put("calendar", "H1", kit_from=None), "H1: its kit comes from None"),
    "an extension without a kit": (
        lambda p: p.put("calendar selection", "H1", kit_id=None), "H1: extend without a kit",
        "H1: its kit comes from|kit A-6: 4 needed, 3|kit A-6: 3 to order|H1.*no usable"),
    "a kit that is not in the catalogue": (
        lambda p: [p.put("calendar selection", "H8", kit_id="A-9"),
                   p.put("orders", "A-12", kit_id="A-9")],
        "H8: kit A-9 is not in the catalogue", "kit A-9: is ordered and not in the catalogue"),
    "an order of no kit that there is": (
        lambda p: [p.twice("orders", 1), p.put("orders", 4, kit_id="A-9", kits=0)],
        "kit A-9: is ordered and not in the catalogue"),
    # --- ways and times
    "a gap in the stops": (
        lambda p: p.put("calendar", "H2", stop=3), "crew 1, 2027-04-05: stops are numbered 1, 3"),
    "stops from 2": (
        lambda p: [p.put("calendar", "H1", stop=2), p.put("calendar", "H2", stop=3)],
        "crew 1, 2027-04-05: stops are numbered 2, 3, not 1 to 2"),
    "a way shorter than the straight line": (
        lambda p: p.put("places", "H2", y_ft=8448 + 5333),
        "H2, crew 1, 2027-04-05: a way of 5,280 ft where a straight line is 5,333"),
    "a first way shorter than from the depot": (
        lambda p: p.put("places", "H7", x_ft=-10620),
        "H7.*: a way of 10,560 ft where a straight line is 10,620"),
    "a way by line with another factor": (
        lambda p: p.say(street_factor=1.3), "H1.*: a way by line of 13,200 ft, due are 13,728",
        "a way by line"),
    "a way by neither": (
        lambda p: p.put("calendar", "H2", way_by="rail"), "H2.*: a way by rail"),
    "hours that are not of the way": (
        lambda p: p.put("calendar", "H2", drive_hours=0.103), "H2.*: 0.103 h for a way of 5,280"),
    "crews that drive slower": (
        lambda p: p.say(speed_mph=9.5), "H1.*: 0.25 h for a way of 13,200 ft, due are 0.263",
        "h for a way|drive_hours|out from|back by|back at|the season"),
    "out of service from another time": (
        lambda p: p.put("calendar", "H1", out_from="08:13"),
        "H1, crew 1, 2027-04-05: out from 08:13, due is 08:15"),
    "back by another time": (
        lambda p: p.put("calendar", "H2", back_by="11:53"), "H2.*: back by 11:53, due is 11:51"),
    "a time that is none": (
        lambda p: p.put("calendar", "H2", back_by="noon"), "H2.*: back by: noon is no time"),
    "another start of the day": (
        lambda p: p.say(day_starts=dt.time(7, 2)), "H1.*: out from 08:15, due is 08:17",
        "out from|back by|back at"),
    "longer jobs than the times tell": (
        lambda p: [p.put("calendar selection", "H2", job_hours=1.95),
                   p.put("crew_days", 0, work_hours=3.45, back_at="12:06"),
                   p.say(hours={**WORDS.hours, "exchange": 1.45})],
        "H2.*: back by 11:51, due is 11:48"),
    "stops that overlap": (
        lambda p: p.put("calendar", "H2", out_from="09:40"),
        "H2.*: out from 09:40 overlaps", "H2.*: out from 09:40, due is 09:51"),
    # --- days of crews
    "a day longer than the crew is there": (
        too_long_a_day, "crew 1, 2027-04-05: takes 5.15 h, the crew is there 5.1"),
    "home shorter than the straight line": (
        shorter_home, "crew 1, 2027-04-05: a way home of 12,672 ft where a straight line is 12,77"),
    "jobs of the day": (
        lambda p: p.put("crew_days", 1, jobs=3), "crew 2, 2027-04-06: `jobs` is 3, due are 2"),
    "work of the day": (
        lambda p: p.put("crew_days", 1, work_hours=3.1), "`work_hours` is 3.1, due are 3"),
    "mobilisation of the day": (
        lambda p: p.put("crew_days", 1, mobilisation_hours=0), "`mobilisation_hours` is 0, due a"),
    "driving of the day": (
        lambda p: p.put("crew_days", 1, drive_hours=0.41), "`drive_hours` is 0.41, due are 0.4"),
    "hours there": (
        lambda p: p.put("crew_days", 1, hours_there=8), "`hours_there` is 8, due are 10"),
    "back at the depot": (
        lambda p: p.put("crew_days", 1, back_at="11:20"), "back at 11:20, due is 11:24"),
    "a day that is not told": (
        lambda p: p.drop("crew_days", 3), "crew 2, 2027-04-20: has jobs and does not stand in"),
    "a day told twice": (
        lambda p: [p.say(budget=99_000, most_crew_hours=None), p.twice("crew_days", 3)],
        "crew 2, 2027-04-20: stands 2 times in crew_days"),
    "a day without jobs": (
        lambda p: [p.say(budget=99_000, most_crew_hours=None), p.twice("crew_days", 3),
                   p.put("crew_days", 4, work_date=april(21))],
        "crew 2, 2027-04-21: stands in crew_days and has no job"),
    # --- mobilisation
    "an area that is never opened": (
        lambda p: p.put("calendar", "H6", mobilisation_hours=0),
        "area C: mobilisation stands 0 times", WAY),
    "an area opened twice": (
        lambda p: p.put("calendar", "H2", mobilisation_hours=1),
        "area A: mobilisation stands 2 times", f"{WAY}|the season takes 22.15"),
    "an area opened too shortly": (
        lambda p: p.say(area_hours=0.5), "H1.*: mobilisation of 1 h, due are 0.5",
        "mobilisation of 1 h"),
    "areas that need no opening": (
        lambda p: p.say(area_hours=0), "H1.*: mobilisation of 1 h, due are 0",
        "mobilisation of 1 h"),
    "an area opened on a later day": (
        lambda p: p.move(6, 27), "H3.*mobilisation of area B, whose first day is 2027-04-20"),
    "an area opened at a later stop": (
        opened_second, "H6.*mobilisation of area C is not at the first stop in it"),
    # --- neighbours
    "neighbours on one day": (
        lambda p: p.say(apart_ft=3000),
        "H1 and H2, 2027-04-05: out of service together, 2,640 ft apart, due are 3,000"),
    "neighbours of two crews on one day": (
        lambda p: [p.move(5, 6), p.say(apart_ft=12_000)],
        r"H1 and H4, 2027-04-06: out of service together, 11,8\d\d\.\d+ ft", "together"),
    # --- money and hours
    "more than the budget": (
        lambda p: p.say(budget=9394), "the season costs 8,455, there are 8,454.6"),
    "more than the budget less what is kept back": (
        lambda p: p.say(contingency_share=0.11), "the season costs 8,455, there are 8,366"),
    "areas that cost more": (
        lambda p: p.say(area_cost=302), "the season costs 8,461, there are 8,460"),
    "a job that costs more": (
        lambda p: p.put("selection", "H3", job_cost=180), "the season costs 8,465, there are"),
    "more crew hours than there are": (
        lambda p: p.say(most_crew_hours=21.1), "the season takes 21.15 crew hours, there are 21.1"),
    "hours that a remedy takes": (
        lambda p: p.say(hours={**WORDS.hours, "replace": 4.1}),
        "H7: 4.5 h, replace takes 4.6 or more"),
    "digging": (
        lambda p: p.say(dig_hours=0.3), "H1: 1.5 h, extend takes 1.55 or more", "takes .* or more"),
    "stops": (
        lambda p: p.say(stop_hours=0.3), "H1: 1.5 h, extend takes 1.55 or more", "takes .* or mo"),
    "a remedy without hours": (
        lambda p: p.say(hours={k: v for k, v in WORDS.hours.items() if k != "replace"}),
        "H7: the season has no hours for replace"),
    "a job that costs too little": (
        lambda p: p.put("selection", "H3", job_cost=160), "H3: costs 160, 170 or more are due"),
    "materials": (
        lambda p: p.say(materials={**WORDS.materials, "exchange": 45}),
        "H2: costs 290, 295 or more are due"),
    "what a kit costs": (
        lambda p: p.kit("A-12", unit_cost=30), "H8: costs 215, 245 or more are due"),
    # --- what is owed
    "must be done and is not": (
        lambda p: p.say(must=("H10",)), "H10 must be done, is not selected, and no reason"),
    "must be done and is not there": (
        lambda p: p.say(must=("H99",)), "H99 must be done and is not in the selection"),
    "must be done, without a reason": (
        lambda p: p.put("selection", "H9", why=None), "H9 must be done, is not selected, and no"),
    "may never be done and is": (
        lambda p: p.say(never=("H3",)), "H3 may never be done and is selected"),
    "fewer than an area is owed": (
        lambda p: p.say(least={"A": 4}), "area A: 3 jobs, 4 are owed"),
    "none where an area is owed one": (
        lambda p: p.say(least={"D": 1}), "area D: 0 jobs, 1 are owed"),
    "excluded and selected": (
        lambda p: p.put("selection", "H2", decision="exclude"), "H2: the planner says exclude"),
    "included and left out": (
        lambda p: p.put("selection", "H12", why="no money"), "H12: the planner says include"),
    "a decision that is none": (
        lambda p: p.put("selection", "H12", decision="perhaps"), "H12: the planner says perhaps"),
    # --- orders
    "more needed than jobs": (
        lambda p: p.put("orders", "A-6", kits=5), "kit A-6: 5 needed, 4 jobs take it"),
    "fewer ordered than the shelf lacks": (
        lambda p: p.put("orders", "A-6", to_order=2), "kit A-6: 2 to order, the shelf lacks 3"),
    "more ordered than the shelf lacks": (
        lambda p: p.put("orders", "A-12", to_order=3), "kit A-12: 3 to order, the shelf lacks 2"),
    "another shelf": (
        lambda p: p.put("orders", "A-6", on_hand=3), "kit A-6: 3.* on hand, the catalogue says 2"),
    "a shelf that nobody told": (
        lambda p: p.put("orders", "A-12", on_hand=0), "kit A-12: 0.* on hand, the catalogue say"),
    "too few spares": (fewer_spares, "kit A-6: 0 spares, 1 or more are due"),
    "a larger share of spares": (
        lambda p: p.say(spares_share=0.3), "kit A-6: 1 spares, 2 or more are due"),
    "another lead time": (
        lambda p: p.put("orders", "A-6", lead_days=21),
        "kit A-6: lead time of 21 days, due are 20"),
    "ordered too late": (
        lambda p: p.put("orders", "A-6", order_by=dt.date(2027, 3, 24)),
        "kit A-6: order by 2027-03-24 is less than 20 days before 2027-04-12"),
    "ordered before it is planned": (
        lambda p: p.put("orders", "A-6", order_by=dt.date(2027, 3, 19)),
        "kit A-6: order by 2027-03-19, before 2027-03-20"),
    "another first use": (
        lambda p: p.put("orders", "A-6", first_use=april(13)),
        "kit A-6: first use 2027-04-13, the first job is on 2027-04-12"),
    "no day to order": (
        lambda p: p.put("orders", "A-6", order_by=None),
        "kit A-6: jobs wait for it, and it has no"),
    "not among the orders": (
        lambda p: p.drop("orders", 1), "kit A-12: 1 are needed, and it is not among the orders"),
    "twice among the orders": (
        lambda p: p.twice("orders", 1), "kit A-12: stands 2 times among the orders"),
    "no depot": (
        lambda p: setattr(p, "depot_ft", (float("nan"), 0.0)), "the depot has no usable place"),
}  # fmt: skip


def test_a_sound_plan_has_no_fault():
    assert sound().faults() == []


@pytest.mark.parametrize("name", CASES)
def test_each_limit_that_is_broken_is_told_and_no_other(name):
    breaks, told, *more = CASES[name]
    plan = sound()
    breaks(plan)
    faults = plan.faults()
    assert any(re.search(told, fault) for fault in faults), faults
    known = re.compile("|".join([told, *more]))
    assert [fault for fault in faults if not known.search(fault)] == []


@pytest.mark.parametrize(
    "loosened",
    [
        lambda p: p.say(budget=8455 / 0.9),
        lambda p: p.say(most_crew_hours=None),
        lambda p: p.say(apart_ft=2640),
        lambda p: p.say(blackouts=(
            Blackout(title="fair", first_on=april(5), last_on=april(5), areas=("B",)),)),
        lambda p: p.say(fire_days=16),
        lambda p: p.say(starts_on=april(5), ends_on=april(20)),
        lambda p: p.crew("1", first_on=april(5), last_on=april(12)),
        lambda p: [p.kit("A-6", lead_days=23),
                   p.put("orders", "A-6", lead_days=23, order_by=dt.date(2027, 3, 20))],
        lambda p: p.say(spares_share=0.25),
        lambda p: p.put("calendar", "H1", out_from="08:16", back_by="09:44"),
        lambda p: p.put("calendar", "H1", drive_hours=0.2515),
        lambda p: p.put("orders", "A-6", spares=2, to_order=4),
        lambda p: p.put("orders", "A-6", order_by=dt.date(2027, 3, 20)),
        lambda p: p.put("calendar", "H7", kit_from="order"),
        lambda p: p.put("crew_days", 0, areas=None),
        empty,
    ],
)  # fmt: skip
def test_what_a_limit_still_allows_is_no_fault(loosened):
    plan = sound()
    loosened(plan)
    assert plan.faults() == []


def test_a_hydrant_in_no_area_is_no_fault():
    plan = sound()
    for hydrant in ("H3", "H4", "H7", "H8"):
        plan.put("selection calendar places", hydrant, area_id=None)
    assert plan.faults() == []


def test_a_day_may_end_after_midnight():
    plan = sound()
    plan.say(day_starts=dt.time(22))
    for table, columns in (("calendar", ("out_from", "back_by")), ("crew_days", ("back_at",))):
        for column in columns:
            at = pd.to_datetime(getattr(plan, table)[column], format="%H:%M")
            getattr(plan, table)[column] = (at + pd.Timedelta(hours=15)).dt.strftime("%H:%M")
    assert plan.faults() == []


WRONG = "?"
FREE = {"area_id", "kit_id", "kit_from", "areas", "why", "decision", "on_hand", "first_use",
        "order_by"}  # fmt: skip
READ = {
    "selection": (0, plainrows.SELECTION),
    "calendar": (1, plainrows.CALENDAR),
    "crew_days": (2, plainrows.CREW_DAYS),
    "orders": (0, plainrows.ORDERS),
    "places": (3, plainrows.PLACES),
}


@pytest.mark.parametrize("nothing", [None, float("nan"), pd.NA, pd.NaT, "", WRONG], ids=repr)
@pytest.mark.parametrize("table", READ)
def test_what_is_due_and_missing_is_told(table, nothing):
    row, columns = READ[table]
    for column in columns:
        if column in FREE or (nothing is WRONG and columns[column] is plainrows.as_text):
            continue
        plan = sound()
        plan.put(table, row, **{column: nothing})
        told = [f for f in plan.faults() if f.startswith(f"{table}: ")]
        assert any(f"has no usable `{column}`" in fault for fault in told), column


@pytest.mark.parametrize("table", READ)
def test_a_missing_column_is_told(table):
    for column in READ[table][1]:
        plan = sound()
        setattr(plan, table, getattr(plan, table).drop(columns=column))
        assert f"{table}: there is no column `{column}`" in plan.faults()


@pytest.mark.parametrize("table", READ)
def test_an_empty_table_is_told(table):
    plan = sound()
    setattr(plan, table, getattr(plan, table).iloc[:0])
    assert plan.faults()
    setattr(plan, table, pd.DataFrame())
    assert f"{table}: there is no column `{next(iter(READ[table][1]))}`" in plan.faults()


NOTICEABLE = {
    "stop": 1, "jobs": 1, "job_hours": 0.05, "work_hours": 0.05, "drive_hours": 0.01,
    "mobilisation_hours": 0.05, "hours_there": 0.05, "drive_ft": 250,
}  # fmt: skip
NUMBERS = [
    (table, row, column)
    for table, rows in (("calendar", len(STOPS)), ("crew_days", len(DAYS)))
    for column, kind in READ[table][1].items()
    if kind is plainrows.as_number
    for row in range(rows)
]


@given(st.sampled_from(NUMBERS), st.integers(1, 40), st.sampled_from([-1, 1]))
def test_no_single_number_can_be_another(cell, times, sign):
    table, row, column = cell
    plan = sound()
    now = getattr(plan, table)[column].iloc[row]
    plan.put(table, row, **{column: now + sign * times * NOTICEABLE[column]})
    assert plan.faults()


@given(
    st.sampled_from([(t, column) for t, (_, columns) in READ.items() for column in columns]),
    st.integers(0, 3),
    st.one_of(
        st.none(), st.text(max_size=5), st.floats(), st.integers(), st.booleans(), st.dates(),
        st.just(pd.NaT), st.just(pd.NA),
    ),
)  # fmt: skip
def test_no_value_is_a_crash(cell, row, value):
    plan = sound()
    plan.put(cell[0], row, **{cell[1]: value})
    assert isinstance(plan.faults(), list)


@pytest.mark.parametrize("module", [proof, plainrows])
def test_it_shares_nothing_with_what_it_checks(module):
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    typing_only = {
        inner for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }  # fmt: skip
    run, typed = set(), set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            names = {str(node.module)}
        else:
            continue
        (typed if node in typing_only else run).update(names)
    assert run <= {
        "__future__", "collections", "dataclasses", "datetime", "math", "re", "typing", "numpy",
        "pandas", "hydrantgis.season.plainrows",
    }  # fmt: skip
    assert typed <= {
        "collections.abc", "pandas", "hydrantgis.standards.kits", "hydrantgis.standards.season",
    }  # fmt: skip
