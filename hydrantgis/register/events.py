"""
The history and the state that follows from it.

An event is a row with what was told and blanks for what was not. What a hydrant is now is, column
by column, the last thing that was told of it. Nothing here touches a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.identity import content_ids
from hydrantgis.ground.plane import xy
from hydrantgis.ground.tables import HISTORY, HYDRANT_FACT_NAMES, HYDRANTS, READINGS
from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    import datetime as dt

    import pyproj

_STATE_EVENTS = (
    "imported", "extended", "retired", "out_of_service", "returned_to_service", "closed_out",
)  # fmt: skip


def imported_events(
    hydrants: gpd.GeoDataFrame,
    state: gpd.GeoDataFrame,
    import_id: str,
    *,
    gone: pd.Index[str] | None = None,
) -> pd.DataFrame:
    """
    Events for the hydrants that are new or told differently than they stand.

    Parameters
    ----------
    hydrants
        Accepted rows, in the CRS of the register, one a hydrant.
    state
        The `hydrants` table as it stands.
    import_id
        The intake that tells it.
    gone
        Hydrants that a layer lacked; to be told as retired is news of one.

    Returns
    -------
    events
        The `events` table; a hydrant told as it stands makes none.
    """
    told = pd.DataFrame(hydrants.drop(columns="geometry"))
    told[["x", "y"]] = xy(hydrants.geometry)
    if not len(state):
        return _as_events(told, "imported", import_id)
    now = pd.DataFrame(state.drop(columns="geometry"))
    now[["x", "y"]] = xy(state.geometry)
    now = now.set_index("hydrant_id").reindex(told["hydrant_id"])
    differs = np.zeros(len(told), dtype=bool)
    for name in (*HYDRANT_FACT_NAMES, "x", "y"):
        new, old = told[name], now[name].set_axis(told.index)
        differs |= (new.notna() & (old.isna() | (new != old))).to_numpy(dtype=bool, na_value=False)
    if gone is not None:
        said = told["hydrant_id"].isin(gone) & (told["status"] == "retired").fillna(value=False)
        differs |= said.to_numpy(dtype=bool)
    fresh = ~told["hydrant_id"].isin(state["hydrant_id"]).to_numpy()
    return _as_events(told[differs | fresh], "imported", import_id)


def retired_events(gone: pd.Index[str], import_id: str) -> pd.DataFrame:
    """
    Events for hydrants that are missing from a newer layer.

    Parameters
    ----------
    gone
        Their ids.
    import_id
        The intake in which they are missing.

    Returns
    -------
    events
        The `events` table.
    """
    told = pd.DataFrame({"hydrant_id": gone}).assign(status="retired")
    return _as_events(told, "retired", import_id)


def _as_events(told: pd.DataFrame, event: str, import_id: str) -> pd.DataFrame:
    rows = told.assign(event=event, import_id=import_id, event_id="")
    events = HISTORY.conform(rows.reset_index(drop=True))
    return events.assign(event_id=content_ids(events.drop(columns="event_id"), "e"))


def lineages(history: pd.DataFrame, imports: pd.DataFrame) -> pd.Series:
    """
    The first intake of the layer that each hydrant came from, by id.

    Parameters
    ----------
    history
        The `events` table, of `imported` and `retired` alone, in the order in which it was told.
    imports
        The `imports` table.

    Returns
    -------
    lineages
        Of all hydrants, in the order in which they were first told.
    """
    first = history[history["event"] == "imported"].drop_duplicates("hydrant_id")
    roots = imports.set_index("import_id")["vintage_of"].dropna()
    root = first["import_id"].map(roots.to_dict()).astype("str")
    root = root.where(root.notna(), first["import_id"])
    return pd.Series(root.to_numpy(), index=pd.Index(first["hydrant_id"]))


def gone_now(history: pd.DataFrame) -> pd.Index[str]:
    """
    Hydrants that a newer layer lacked and none told since.

    Examples
    --------
    >>> history = pd.DataFrame({"hydrant_id": ["A", "B", "A"], "event": ["imported"] * 3})
    >>> history.loc[3] = ["B", "retired"]
    >>> gone_now(history).tolist()
    ['B']
    """
    last = history.drop_duplicates("hydrant_id", keep="last")
    gone: pd.Series[str] = last["hydrant_id"][last["event"] == "retired"]
    return pd.Index(gone.astype("str"))


def told_again(told: pd.DataFrame, history: pd.DataFrame) -> tuple[pd.DataFrame, pd.Index[str]]:
    """
    Rows in which hydrants that were gone are living again, and which these are.

    Their status is that of the layer; where it tells none, the one before they were gone; where
    there was none, `in_service`.

    Parameters
    ----------
    told
        Rows of the `hydrants` table.
    history
        As for `lineages`.

    Returns
    -------
    told, back
        The input is not changed.
    """
    back = told["hydrant_id"].isin(gone_now(history)) & (told["status"] != "retired").fillna(
        value=True
    )
    if not back.any():
        return told, pd.Index([], dtype="str")
    before = history[(history["event"] == "imported") & history["status"].notna()]
    stood = before.drop_duplicates("hydrant_id", keep="last").set_index("hydrant_id")["status"]
    status = told["hydrant_id"].map(stood.to_dict()).astype("str")
    status = status.where(status.notna() & (status != "retired"), "in_service")
    filled = told["status"].where(~back | told["status"].notna(), status)
    return told.assign(status=filled), pd.Index(told["hydrant_id"][back], dtype="str")


def measured_events(readings: pd.DataFrame, history: pd.DataFrame, import_id: str) -> pd.DataFrame:
    """
    Events for readings that were not told before.

    Parameters
    ----------
    readings
        The `readings` table; the reading's id is the event's.
    history
        The `events` table as it stands.
    import_id
        The intake that tells them.

    Returns
    -------
    events
        The `events` table.
    """
    struck = history["strikes"].dropna()
    stands = history["event_id"][~history["event_id"].isin(struck)].str.split("-").str[0]
    fresh = readings[~readings["reading_id"].isin(stands)]
    again = fresh["reading_id"].isin(history["event_id"])
    events = fresh.rename(columns={"reading_id": "event_id"}).assign(
        event="measured", import_id=import_id, event_date=fresh["reading_date"]
    )
    # struck and told again: an event of its own
    events["event_id"] = events["event_id"].mask(again, events["event_id"] + f"-{import_id[:8]}")
    return HISTORY.conform(events.reset_index(drop=True))


def grade_changed_events(
    hydrants: gpd.GeoDataFrame,
    works: gpd.GeoDataFrame,
    history: pd.DataFrame,
    import_id: str,
    *,
    by: dt.date,
) -> pd.DataFrame:
    """
    Events for hydrants on ground that works have changed, those told before left out.

    Parameters
    ----------
    hydrants, works
        The tables of those names, in one CRS.
    history
        The `events` table as it stands.
    import_id
        The intake that tells the works.
    by
        Works of a later day are planned, and change nothing yet.

    Returns
    -------
    events
        The `events` table; a note says by how much and by which work.
    """
    built = works[(works["built_on"] <= pd.Timestamp(by)) & works["change_in"].notna()]
    on = hydrants[["hydrant_id", "geometry"]].sjoin(built, predicate="intersects")
    told = pd.DataFrame(
        {
            "hydrant_id": on["hydrant_id"],
            "event_date": on["built_on"],
            "note": fill(
                "grade {change} in by work {work}", change=on["change_in"].map("{:+g}".format),
                work=on["work_id"],
            ),
        }
    )  # fmt: skip
    events = _as_events(told.sort_values(["hydrant_id", "event_date", "note"]), "grade_changed", "")
    fresh = ~events["event_id"].isin(history["event_id"])
    return events[fresh].drop_duplicates("event_id").assign(import_id=import_id)


def kits_fitted(history: pd.DataFrame, imports: pd.DataFrame) -> pd.Series:
    """
    The last day on which each hydrant got another extension than it had, by id.

    Parameters
    ----------
    history
        The `events` table, in the order in which it was told.
    imports
        The `imports` table.

    Returns
    -------
    days
        That of the event; where it tells none, that of the intake, since the kit was in by then. A
        length that is told where none was before is no change.

    Examples
    --------
    >>> told = pd.DataFrame({"hydrant_id": ["A", "A"], "installed_extension_in": [0.0, 12.0],
    ...                      "import_id": "i1", "event_date": [pd.NaT, pd.Timestamp(2026, 5, 4)]})
    >>> none = pd.DataFrame({"import_id": ["i1"], "recorded_at": [pd.Timestamp(2026, 6, 1)]})
    >>> kits_fitted(told, none).to_dict()
    {'A': Timestamp('2026-05-04 00:00:00')}
    """
    told = history[history["installed_extension_in"].notna()]
    before = told.groupby("hydrant_id", sort=False)["installed_extension_in"].shift()
    fitted = told[before.notna() & (before != told["installed_extension_in"])]
    recorded = pd.to_datetime(imports.set_index("import_id")["recorded_at"]).dt.tz_localize(None)
    known_by = fitted["import_id"].map(recorded.dt.normalize())
    days = pd.to_datetime(fitted["event_date"]).where(fitted["event_date"].notna(), known_by)
    return days.groupby(fitted["hydrant_id"]).max()


def readings_of(history: pd.DataFrame) -> pd.DataFrame:
    """The `readings` table that a history holds, those that were struck left out."""
    measured = history[history["event"] == "measured"]
    measured = measured[~measured["event_id"].isin(history["strikes"].dropna())]
    return READINGS.conform(
        measured.rename(columns={"event_id": "reading_id"}).reset_index(drop=True)
    )


def state_after(state: gpd.GeoDataFrame, events: pd.DataFrame, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """
    What the hydrants are after more events.

    Parameters
    ----------
    state
        The `hydrants` table before; with no rows for the whole history.
    events
        In the order in which they were told.
    crs
        Of the register.

    Returns
    -------
    state
        The `hydrants` table, in the order in which hydrants were first told.

    Notes
    -----
    Telling the events in one go or in parts comes to the same.
    """
    before = pd.DataFrame(state.drop(columns="geometry"))
    before[["x", "y"]] = xy(state.geometry)
    columns = ["hydrant_id", *HYDRANT_FACT_NAMES, "x", "y"]
    told = events[events["event"].isin(_STATE_EVENTS)][columns]
    rows = pd.concat([f for f in (before[columns], told) if len(f)] or [before[columns]])
    if rows["hydrant_id"].duplicated().any():
        rows = rows.groupby("hydrant_id", sort=False, as_index=False).last()
    rows = rows.reset_index(drop=True)
    points = gpd.points_from_xy(rows["x"], rows["y"])
    geometry = gpd.GeoSeries(points, crs=crs).mask(rows["x"].isna() | rows["y"].isna())
    frame = HYDRANTS.conform(gpd.GeoDataFrame(rows.drop(columns=["x", "y"]), geometry=geometry))
    return gpd.GeoDataFrame(frame, crs=crs)
