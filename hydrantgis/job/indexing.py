"""
The page that leads to all that a folder of results holds.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from hydrantgis.deliver.indexpage import entries_of, index_page, save_index
from hydrantgis.deliver.looks import share_in_words
from hydrantgis.job.showing import map_words

if TYPE_CHECKING:
    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Planned
    from hydrantgis.season.lists import Season


def write_index(
    folder: Path | str,
    result: Checked,
    *,
    season: Season | None = None,
    planned: Planned | None = None,
    title: str = "Hydrants",
) -> Path:
    """
    Write `index.html`: what each file of a folder is, and for whom, with the headline figures.

    Parameters
    ----------
    folder
        That holds the results, all of them written; not looked into any deeper.
    result
        From `check`.
    season, planned
        From `plan` and `plan_season`, where there are any.
    title
        What stands at its head, for example the name of the district.

    Returns
    -------
    path
        The page; the same bytes for the same files.
    """
    place = Path(folder)
    counts = result.counts()
    figures = [
        ("Hydrants", counts["hydrants"]), ("Measured", counts["measured"]),
        ("Inside", counts["inside"]), ("Low", counts["low"]), ("High", counts["high"]),
        ("Unresolved", counts["unresolved"]),
        ("Unmeasured", counts["unmeasured"]),
    ]  # fmt: skip
    if season is not None:
        figures.append(("Kit jobs", len(season.jobs)))
    if planned is not None:
        figures.append(("Jobs planned", len(planned.calendar)))
    page = index_page(
        entries_of(place),
        words=map_words(result, title=title),
        figures=[(name, f"{count:,}") for name, count in figures],
        share=share_in_words(counts),
        moment=f"{result.moment:%Y-%m-%d}",
    )
    return save_index(place, page)
