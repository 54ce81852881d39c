"""
The season file: what a season has in money and hours, and what its jobs take.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SettingsError
from hydrantgis.ground.results import KIT_REMEDIES
from hydrantgis.ground.settings import SettingsReader

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

PARTS = ("severity", "protects", "alone", "age")
"""Parts of a priority, each from 0 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonWords:
    """
    What a season has and what its jobs take.

    Attributes
    ----------
    season_id, title, starts_on, ends_on
        Which one it is.
    money, source, read_on
        Of the figures.
    budget, contingency_share, crew_hours, hour_cost
        What there is, of the budget what is kept back, and what an hour costs. [money, -, h, money]
    hours
        Crew hours of a job, by remedy. [h]
    area_cost, area_hours
        Of every area that is worked in. [money, h]
    weights
        Of `PARTS`.
    must, never
        Hydrants that have to be done, and that may not be.
    least
        Jobs that an area is owed, by area.
    """

    season_id: str
    title: str
    starts_on: dt.date
    ends_on: dt.date
    money: str
    source: str
    read_on: dt.date
    budget: float
    contingency_share: float
    crew_hours: float
    hour_cost: float
    hours: dict[str, float]
    area_cost: float
    area_hours: float
    weights: dict[str, float]
    must: tuple[str, ...]
    never: tuple[str, ...]
    least: dict[str, int]


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
    days = {key: reader.date(key, required=True) for key in ("starts_on", "ends_on", "read_on")}
    first, last = days["starts_on"], days["ends_on"]
    if first is not None and last is not None and first >= last:
        reader.problem("ends_on", f"{last} does not lie after `starts_on`")
    amounts = {
        key: reader.number(key, required=True, least=0)
        for key in ("budget", "crew_hours", "hour_cost")
    }
    kept = reader.number("contingency_share", least=0, most=1)
    of_hours = reader.part("hours", required=True)
    hours = {remedy: of_hours.number(remedy, required=True, above=0) for remedy in KIT_REMEDIES}
    area = reader.part("mobilisation")
    area_cost, area_hours = (area.number(key, least=0) for key in ("cost", "hours"))
    of_weights = reader.part("weights", required=True)
    weights = {part: of_weights.number(part, required=True, least=0) for part in PARTS}
    if not any(weights.values()):
        of_weights.problem("severity", "all weights are 0: no job is worth more than another")
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
    reader.finish()
    if None in (*texts.values(), *days.values(), *amounts.values()):
        raise SettingsError(f"{name} is incomplete")  # pragma: no cover - finish told it
    return SeasonWords(
        **texts, **days, **amounts,  # type: ignore[arg-type] # none is missing by now
        contingency_share=kept or 0.0, hours={k: v or 0.0 for k, v in hours.items()},
        area_cost=area_cost or 0.0, area_hours=area_hours or 0.0,
        weights={k: v or 0.0 for k, v in weights.items()}, must=must, never=never, least=least,
    )  # fmt: skip
