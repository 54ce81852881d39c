"""
What a season has: money, crews and days; what its jobs take; what must be kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

PARTS = ("severity", "protects", "alone", "flow", "age")
"""Parts of a priority, each from 0 to 1."""
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """
    A crew.

    Attributes
    ----------
    crew_id
        Its name.
    does
        Remedies that it can do.
    hours_a_day
        From leaving the depot to being back. [h]
    weekdays
        On which it works, 0 for Monday.
    first_on, last_on
        From when to when it is there; the whole season where None.
    off
        Days on which it is not.
    """

    crew_id: str
    does: tuple[str, ...]
    hours_a_day: float
    weekdays: tuple[int, ...]
    first_on: dt.date | None = None
    last_on: dt.date | None = None
    off: tuple[dt.date, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Blackout:
    """
    Days on which nobody may work, in all areas or in some.

    Attributes
    ----------
    title
        Why.
    first_on, last_on
        Both included.
    areas
        Where; everywhere where there are none.
    """

    title: str
    first_on: dt.date
    last_on: dt.date
    areas: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Depot:
    """
    Where crews start and end their day.

    Attributes
    ----------
    x, y
        East and north, longitude and latitude. [crs]
    crs
        As the file names it.
    """

    x: float
    y: float
    crs: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Consumable:
    """
    What jobs use up.

    Attributes
    ----------
    item
        Its name.
    a_job
        How many every job takes.
    unit_cost
        Of one, paid out of what a job's materials cost; None where nobody says. [money]
    """

    item: str
    a_job: float
    unit_cost: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonWords:
    """
    What a season has and what its jobs take.

    Attributes
    ----------
    season_id, title, starts_on, ends_on
        Which one it is; both days included.
    planned_on
        Nothing is ordered and nobody told before that day.
    money, source, read_on
        Of the figures.
    budget, contingency_share, hour_cost
        What there is, what share of it is kept back, and what an hour of a crew costs, at work or
        on the way. [money, -, money]
    most_crew_hours
        Of all crews together; None for all that their days have. [h]
    day_starts
        When crews leave the depot.
    crews, holidays, blackouts, depot
        Who works, when nobody does, and from where.
    speed_mph, street_factor, stop_hours
        How fast crews drive, what a straight line is multiplied by where no streets are known, and
        what every stop takes apart from the job. [mi/h, -, h]
    hours, materials
        Of a job, by remedy. A remedy without hours is not planned. [h, money]
    dig_hours, dig_hours_per_ft
        Of every job, and for every foot that the flange lies under the ground. [h, h/ft]
    area_cost, area_hours
        Of every area that is worked in; the hours on its first day. [money, h]
    apart_ft
        Hydrants nearer than this are not out of service on one day; 0 for no rule. [ft]
    fire_days, customer_days
        How long before it a job is told to the fire department and to customers. [days]
    lead_days
        From order to delivery, where the kit catalogue does not say. [days]
    spares_share, repair_kits_a_crew, consumables
        Of what is ordered beyond the jobs, what each crew carries, and what jobs use up.
    weights
        Of `PARTS`.
    protects_ft, protects
        How near a facility is protected, and how much its class counts, from 0 to 1; `*` for all
        other classes. [ft]
    must, never
        Hydrants that have to be done, and that may not be.
    least
        Jobs that an area is owed, by area.
    flange_first
        Jobs whose flange was never measured are left until it is.
    """

    season_id: str
    title: str
    starts_on: dt.date
    ends_on: dt.date
    planned_on: dt.date
    money: str
    source: str
    read_on: dt.date
    budget: float
    contingency_share: float
    hour_cost: float
    most_crew_hours: float | None
    day_starts: dt.time
    crews: tuple[Crew, ...]
    holidays: tuple[dt.date, ...]
    blackouts: tuple[Blackout, ...]
    depot: Depot
    speed_mph: float
    street_factor: float
    stop_hours: float
    hours: dict[str, float]
    materials: dict[str, float]
    dig_hours: float
    dig_hours_per_ft: float
    area_cost: float
    area_hours: float
    apart_ft: float
    fire_days: int
    customer_days: int
    lead_days: int
    spares_share: float
    repair_kits_a_crew: int
    consumables: tuple[Consumable, ...]
    weights: dict[str, float]
    protects_ft: float
    protects: dict[str, float]
    must: tuple[str, ...]
    never: tuple[str, ...]
    least: dict[str, int]
    flange_first: bool

    @property
    def available(self) -> float:
        """The budget less what is kept back. [money]"""
        return self.budget * (1.0 - self.contingency_share)
