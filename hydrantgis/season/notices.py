"""
Who has to be told of which hydrant: that it goes out of service, and that it is back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.ground.seasons import NOTICES, TOLD_TO
from hydrantgis.ground.text import fill
from hydrantgis.season.crewdays import last_working_day

if TYPE_CHECKING:
    from hydrantgis.standards.season import SeasonWords


def notices(calendar: pd.DataFrame, words: SeasonWords) -> pd.DataFrame:
    """
    The `notices` table of a calendar, by addressee, area, day and hour.

    Parameters
    ----------
    calendar
        The `calendar` table.
    words
        How long before it each addressee is told.
    """
    days = dict(zip(TOLD_TO, (words.fire_days, words.customer_days), strict=True))
    at = calendar["address"].fillna("no address")
    day = calendar["work_date"].dt.strftime("%Y-%m-%d")
    facts = {
        "h": calendar["hydrant_id"], "at": at, "d": day, "a": calendar["out_from"],
        "b": calendar["back_by"],
    }  # fmt: skip
    parts = [
        calendar.assign(
            told_to=who,
            tell_by=last_working_day(
                calendar["work_date"] - pd.Timedelta(days=ahead), words, not_before=words.planned_on
            ),
            out_on=calendar["work_date"],
            out_line=fill(
                "Hydrant {h}, {at}: out of service on {d} from {a} to about {b}.", **facts
            ),
            back_line=fill("Hydrant {h}, {at}: back in service on {d} at ____ .", **facts),
        )
        for who, ahead in days.items()
    ]  # fmt: skip
    told = pd.concat(parts)
    order = ["told_to", "area_id", "out_on", "out_from", "hydrant_id"]
    told = told.sort_values(order, ascending=[False, True, True, True, True], kind="stable")
    return NOTICES.conform(pd.DataFrame(told).reset_index(drop=True))


def undated_notices(jobs: pd.DataFrame) -> pd.DataFrame:
    """
    The `notices` table of jobs that have no day yet: their days and hours are left to be written.

    Parameters
    ----------
    jobs
        Hydrants that go out of service: `hydrant_id`, `area_id`, `address`.

    Examples
    --------
    >>> jobs = pd.DataFrame({"hydrant_id": ["H1"], "area_id": ["A"], "address": [None]})
    >>> undated_notices(jobs)["back_line"].tolist()[0]
    'Hydrant H1, no address: back in service on __________ at ____ .'
    """
    facts = {"h": jobs["hydrant_id"], "at": jobs["address"].fillna("no address")}
    blank = "_" * 10
    out = f"Hydrant {{h}}, {{at}}: out of service on {blank} from ____ to about ____ ."
    back = f"Hydrant {{h}}, {{at}}: back in service on {blank} at ____ ."
    parts = [
        jobs.assign(told_to=who, out_line=fill(out, **facts), back_line=fill(back, **facts))
        for who in TOLD_TO
    ]
    names = ["told_to", "area_id", "hydrant_id", "address", "out_line", "back_line"]
    told = pd.concat(parts)[names].sort_values(
        ["told_to", "area_id", "out_line"], ascending=[False, True, True], kind="stable"
    )
    return NOTICES.conform(told.reset_index(drop=True))
