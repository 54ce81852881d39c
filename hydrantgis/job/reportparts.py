"""
Words and charts that several pages of a report share.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from hydrantgis.deliver.charts import svg_of
from hydrantgis.deliver.reportblocks import Chart, percent
from hydrantgis.deliver.reportcharts import shares_chart
from hydrantgis.job.reportfigures import facts_of

if TYPE_CHECKING:
    import pandas as pd

    from hydrantgis.job.reportfigures import Fact
    from hydrantgis.job.reporting import Report

MOST_AREAS = 10
"""The chart of the first page shows so many areas, those with the least share first."""


def many(count: int, what: str) -> str:
    """
    A count with its word.

    Examples
    --------
    >>> many(1, "area"), many(6, "area"), many(0, "area")
    ('1 area', '6 areas', 'no areas')
    """
    return f"{count:,} {what}{'' if count == 1 else 's'}" if count else f"no {what}s"


def share_of(fact: Fact, whole: str) -> str:
    """A share as its two counts."""
    return f"{fact.numerator:,.0f} of {fact.denominator or 0:,.0f} {whole}"


def names_of(areas: pd.DataFrame) -> list[str]:
    """
    What areas are called: by title, else by id.

    Parameters
    ----------
    areas
        With `area_id` and `area_title`.
    """
    return areas["area_title"].fillna(areas["area_id"]).fillna("(in no area)").tolist()


def areas_chart(told: Report, rows: pd.DataFrame, title: str, *, note: str = "") -> Chart:
    """
    A chart of some areas.

    Parameters
    ----------
    told
        From `hydrantgis.job.reporting.report`.
    rows
        Of its table of areas.
    title, note
        What stands above and below it.
    """
    whole = facts_of(told)["inside, of those measured"].value
    names = names_of(rows)
    each = (
        f"{name}: {percent(share)} of {measured:,}" if measured else f"{name}: none measured"
        for name, share, measured in zip(
            names, rows["inside_share"].tolist(), rows["measured"].tolist(), strict=True
        )
    )
    alt = f"The share inside of each area beside {percent(whole)} of all. {'; '.join(each)}."
    return Chart(title, svg_of(shares_chart(names, rows, whole=whole)), alt, note)
