"""
The tables of a plan as plain rows, for whoever adds them up again.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    Row = dict[str, Any]


def as_text(value: object) -> str | None:
    """The text, None where there is none."""
    return None if _is_none(value) or str(value) == "" else str(value)


def as_number(value: object) -> float:
    """A finite number; not a number where it is anything else."""
    if _is_none(value):
        return math.nan
    try:
        number = float(str(value))
    except ValueError:
        return math.nan
    return number if math.isfinite(number) else math.nan


def as_day(value: object) -> dt.date | None:
    """The day, None where it is anything else."""
    if _is_none(value):
        return None
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    try:
        return dt.date.fromisoformat(str(value))
    except ValueError:
        return None


def as_flag(value: object) -> bool | None:
    """Yes or no, None where it is neither."""
    return bool(value) if isinstance(value, bool | np.bool_) else None


def _is_none(value: Any) -> bool:  # noqa: ANN401 - pandas says what it may be
    return bool(pd.api.types.is_scalar(value) and pd.isna(value))


SELECTION = {
    "hydrant_id": as_text,
    "area_id": as_text,
    "selected": as_flag,
    "why": as_text,
    "job_cost": as_number,
    "job_hours": as_number,
    "remedy": as_text,
    "kit_id": as_text,
    "crew_id": as_text,
    "work_date": as_day,
    "week": as_text,
    "decision": as_text,
}
DUE_OF_SELECTED = ("job_cost", "job_hours", "remedy", "crew_id", "work_date", "week")
CALENDAR = {
    "hydrant_id": as_text,
    "area_id": as_text,
    "work_date": as_day,
    "week": as_text,
    "crew_id": as_text,
    "stop": as_number,
    "remedy": as_text,
    "kit_id": as_text,
    "kit_from": as_text,
    "out_from": as_text,
    "back_by": as_text,
    "job_hours": as_number,
    "drive_ft": as_number,
    "drive_hours": as_number,
    "way_by": as_text,
    "mobilisation_hours": as_number,
}
DUE_OF_STOPS = [c for c in CALENDAR if c not in ("area_id", "kit_id", "kit_from")]
CREW_DAYS = {
    "work_date": as_day,
    "week": as_text,
    "crew_id": as_text,
    "jobs": as_number,
    "work_hours": as_number,
    "mobilisation_hours": as_number,
    "drive_hours": as_number,
    "drive_ft": as_number,
    "hours_there": as_number,
    "back_at": as_text,
}
ORDERS = {
    "item": as_text,
    "kit_id": as_text,
    "kits": as_number,
    "on_hand": as_number,
    "spares": as_number,
    "to_order": as_number,
    "lead_days": as_number,
    "first_use": as_day,
    "order_by": as_day,
}
PLACES = {"hydrant_id": as_text, "area_id": as_text, "x_ft": as_number, "y_ft": as_number}


def rows_of(
    table: str, frame: pd.DataFrame, columns: Mapping[str, Callable[[object], Any]], told: list[str]
) -> list[Row]:
    """The rows as plain values, missing where a value is not what its column holds."""
    told += [f"{table}: there is no column `{c}`" for c in columns if c not in frame]
    nothing = [None] * len(frame)
    read = [
        [kind(value) for value in (frame[c].tolist() if c in frame else nothing)]
        for c, kind in columns.items()
    ]
    return [dict(zip(columns, row, strict=True)) for row in zip(*read, strict=True)]


def gaps(table: str, rows: list[Row], due: Iterable[str]) -> Iterator[str]:
    """Every value that is due and not there."""
    for number, row in enumerate(rows, 1):
        name = row.get("hydrant_id") or row.get("kit_id") or f"row {number}"
        for column in due:
            value = row[column]
            if value is None or (isinstance(value, float) and math.isnan(value)):
                yield f"{table}: {name} has no usable `{column}`"
