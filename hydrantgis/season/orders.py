"""
What has to be ordered for jobs: kits, hydrants, what crews carry and what jobs use up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.seasons import ORDERS
from hydrantgis.season.crewdays import last_working_day

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.season import SeasonWords

_WAITS = "kit-fits-flange-unknown"
_STOCK = ("on_hand", "lead_days", "unit_cost")


def from_shelf(
    kit_id: pd.Series, priority: pd.Series, catalogue: KitCatalogue
) -> NDArray[np.bool_]:
    """
    Which jobs take a kit that lies on the shelf: those that come first.

    Parameters
    ----------
    kit_id, priority
        Of jobs, and which come first, the highest; shape (n,).
    catalogue
        What lies on the shelf; none where it does not say.

    Returns
    -------
    shelf
        Shape (n,); a job without a kit waits for none, and takes none.

    Examples
    --------
    >>> from hydrantgis.standards.load import load_kits
    >>> from_shelf(pd.Series(["EXT-6", "EXT-6"]), pd.Series([1.0, 2.0]), load_kits("generic"))
    array([False, False])
    """
    stock = {kit.kit_id: kit.on_hand or 0 for kit in catalogue.kits()}
    order = np.argsort(-priority.to_numpy(dtype=np.float64), kind="stable")
    sorted_ids = kit_id.iloc[order]
    rank = sorted_ids.groupby(sorted_ids).cumcount().to_numpy()
    shelf = np.zeros(len(kit_id), dtype=bool)
    there = sorted_ids.map(stock).fillna(0).to_numpy(dtype=np.float64)
    shelf[order] = sorted_ids.notna().to_numpy() & (rank < there)
    return shelf


def orders(
    jobs: pd.DataFrame, catalogue: KitCatalogue | None, words: SeasonWords | None = None
) -> pd.DataFrame:
    """
    The `orders` table of jobs.

    Parameters
    ----------
    jobs
        Rows of the `checked` table with `family`; with `work_date`, `crew_id` and `kit_from` where
        there is a season.
    catalogue
        Costs, stock, lead times, and what kits hold; none of it is known where it is None.
    words
        Spares, what crews carry and what jobs use up; none of these where it is None.

    Returns
    -------
    orders
        Kits by family and length, hydrants by bury, then what crews carry and jobs use up.
    """
    if words is None:
        nothing = pd.Series(pd.NaT, index=jobs.index, dtype="datetime64[ms]")
        jobs = jobs.assign(work_date=nothing, kit_from="order", crew_id=None)
    parts = [_kits(jobs, catalogue, words), _hydrants(jobs, words)]
    if words is not None:
        parts.append(_beside(jobs, catalogue, words))
    parts = [ORDERS.conform(part) for part in parts if len(part)]
    if not parts:
        return ORDERS.empty()
    table = pd.concat(parts, ignore_index=True)
    if words is not None:
        by = last_working_day(table["order_by"], words, not_before=words.planned_on)
        table = table.assign(order_by=by, measure_by=by.where(table["waiting"] > 0))
    return ORDERS.conform(table)


def _kits(
    jobs: pd.DataFrame, catalogue: KitCatalogue | None, words: SeasonWords | None
) -> pd.DataFrame:
    fitted = jobs[jobs["kit_id"].notna()]
    first = fitted["work_date"].where(fitted["kit_from"] == "order")
    waits = fitted["remedy_reason"].str.startswith(_WAITS).astype("int64")
    grouped = fitted.assign(waiting=waits, first_use=first).groupby(["kit_id", "kit_length_in"])
    counted = grouped.agg(
        kits=("waiting", "size"), waiting=("waiting", "sum"), first_use=("first_use", "min")
    ).reset_index()
    pairs = fitted[["kit_id", "family"]].dropna().drop_duplicates().sort_values("family")
    named = pairs.groupby("kit_id")["family"].agg(" / ".join).to_dict()
    kits = () if catalogue is None else catalogue.kits()
    stock = {
        name: counted["kit_id"].map({kit.kit_id: getattr(kit, name) for kit in kits})
        for name in _STOCK
    }
    frame = counted.assign(
        item="kit", family=counted["kit_id"].map(named), **stock,
        holds=_holds(catalogue, "extension"),
    )  # fmt: skip
    share = 0.0 if words is None else words.spares_share
    frame["spares"] = np.ceil(frame["kits"] * share - 1e-9).astype("int64")
    if words is not None:
        frame["lead_days"] = frame["lead_days"].fillna(words.lead_days)
    return _ordered(frame).sort_values(["family", "kit_length_in", "kit_id"])


def _hydrants(jobs: pd.DataFrame, words: SeasonWords | None) -> pd.DataFrame:
    """Hydrants that take the place of others, by bury."""
    new = jobs[(jobs["remedy"] == "replace") & jobs["bury_after_ft"].notna()]
    by = ["family", "bury_after_ft"]
    grouped = new.groupby(by, dropna=False)
    frame = grouped.agg(kits=("remedy", "size"), first_use=("work_date", "min")).reset_index()
    frame = frame.rename(columns={"bury_after_ft": "bury_to_order_ft"}).assign(
        item="hydrant", on_hand=None, spares=0, waiting=0,
        lead_days=None if words is None else words.lead_days, unit_cost=np.nan,
    )  # fmt: skip
    return _ordered(frame)


def _beside(jobs: pd.DataFrame, catalogue: KitCatalogue | None, words: SeasonWords) -> pd.DataFrame:
    """What crews carry, and what jobs use up."""
    first = jobs["work_date"].min()
    carried = jobs["crew_id"].nunique() * words.repair_kits_a_crew
    rows = [("repair kit", "breakaway repair kits", carried, np.nan, _holds(catalogue, "repair"))]
    rows += [
        ("consumable", c.item, int(np.ceil(c.a_job * len(jobs) - 1e-9)),
         np.nan if c.unit_cost is None else c.unit_cost, None)
        for c in words.consumables
    ]  # fmt: skip
    names = ["item", "kit_id", "kits", "unit_cost", "holds"]
    frame = pd.DataFrame(rows, columns=names).assign(
        on_hand=None, spares=0, waiting=0, lead_days=words.lead_days, first_use=first
    )
    return _ordered(frame[frame["kits"] > 0])


def _ordered(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with what is to be ordered of each, by when, and at what cost."""
    there = frame["on_hand"].astype("Float64").fillna(0).astype("int64")
    lacks = (frame["kits"] + frame["spares"] - there).clip(lower=0)
    lead = pd.to_timedelta(frame["lead_days"].astype("Float64").astype("float64"), unit="D")
    first = pd.to_datetime(frame["first_use"])
    return frame.assign(
        to_order=lacks, cost=lacks * frame["unit_cost"].astype("float64"),
        order_by=(first - lead).where(lacks > 0),
    )  # fmt: skip


def _holds(catalogue: KitCatalogue | None, use: str) -> str | None:
    """What a kit holds, in words."""
    parts = () if catalogue is None else catalogue.parts
    return "; ".join(str(part) for part in parts if part.use == use) or None
