"""
What stands where in the planner's workbook: said once, for whoever writes it and whoever reads it.
"""

from __future__ import annotations

JOBS_SHEET = "Jobs"
SENT_SHEET = "As sent"
"""Not shown: what the workbook was made from, and what stood in it."""

HYDRANT_HEADING = "Hydrant"
HEADINGS = {
    "decision": "Decision",
    "crew": "Wanted crew",
    "week": "Wanted week",
    "note": "Note",
}
"""Headings of what the planner fills in, by entry."""

BOOK_FORMAT = "1"
FACTS = ("format", "fingerprint", "season_id")
"""Rows of the hidden sheet: name and value in its first two columns."""
SENT_FROM, CREWS_AT, WEEKS_AT = 3, 9, 10
"""Columns of the hidden sheet, from 0: id and entries as sent; crews; weeks. Names in its row 1."""
