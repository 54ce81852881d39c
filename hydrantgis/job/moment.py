"""
The time of a run, and nobody to tell of its stages.
"""

from __future__ import annotations

import datetime as dt
import os


def the_time() -> dt.datetime:
    """
    Now, in UTC; or what SOURCE_DATE_EPOCH says, so that a run can be repeated to the byte.

    Notes
    -----
    SOURCE_DATE_EPOCH is the variable of the reproducible-builds specification: whole seconds since
    1970-01-01 UTC.
    """
    fixed = os.environ.get("SOURCE_DATE_EPOCH")
    moment = (
        dt.datetime.now(dt.UTC) if fixed is None else dt.datetime.fromtimestamp(int(fixed), dt.UTC)
    )
    return moment.replace(microsecond=0, tzinfo=None)


def quiet(_: str) -> None:
    """Tell nobody of the stages of the work."""
