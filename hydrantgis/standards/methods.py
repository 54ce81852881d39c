"""
Measuring methods and the standard uncertainty that a height gets where the reading states none.

Every value says where it comes from; a reading's own `height_sd_in` goes before it.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3.7: a value known only to lie within +/- a has the standard
   uncertainty a / sqrt(3) (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

CONTACT = "contact"
SCREENING = "screening"


@dataclass(frozen=True, slots=True)
class Method:
    """
    How a height is measured.

    Attributes
    ----------
    weight
        `contact`, or `screening`: a height that may rank visits and never orders a kit.
    sd_in
        Standard uncertainty of one height. [in]
    source
        Where the figure comes from.
    of_points
        Whether a height by it is that of two surveyed points.
    """

    weight: str
    sd_in: float
    source: str
    of_points: bool = False


METHODS: dict[str, Method] = {
    "tape": Method(CONTACT, 0.25, "common practice, no source: +/- 0.5 in at about 95 %"),
    "level": Method(
        CONTACT,
        math.hypot(0.02, 0.02) * 12,
        "common practice, no source: two rod readings of 0.02 ft each",
        of_points=True,
    ),
    "gnss": Method(
        CONTACT,
        math.hypot(2.0, 2.0) / 2.54,
        "common practice, no source: two real-time kinematic points of 2 cm each",
        of_points=True,
    ),
    "shot": Method(
        CONTACT,
        math.hypot(0.02, 0.02) * 12,
        "common practice, no source: two surveyed points of 0.02 ft each",
        of_points=True,
    ),
    "eye": Method(
        SCREENING,
        3.0 / math.sqrt(3.0),
        "a height told to the half foot lies within 3 in either way; JCGM 100:2008, 4.3.7",
    ),
    "terrain": Method(
        SCREENING, 10.0 / 2.54, "a terrain model of RMSEz 10 cm, as stated for USGS 3DEP QL2"
    ),
}
"""By the word that stands in a reading."""

SUSPICIOUS_IN = (6.0, 60.0)
"""Outlets rarely stand outside these: common practice, no source. [in]"""
CONFIRM_IN = (3.0, 60.0)
"""Heights beyond these need a second reading: feet taken for inches lie below, and blanks that were
typed as 0; common practice, no source. [in]"""
CONFIRMED_WITHIN_IN = 1.0
"""Two readings that differ by no more than this confirm each other: common practice, no source.
[in]"""
HYDRANT_SD_XY_FT = 3.0
"""Of a hydrant's place along either axis, where nobody says it: common practice, no source. [ft]"""
WORK_CHANGE_SD_SHARE = 0.25
"""Standard uncertainty of a change of grade that states none, as a share of it: common practice, no
source."""
GRADE_SHOT_SD_FT = 0.02
"""Of a grade shot that states none: common practice, no source. [ft]"""
