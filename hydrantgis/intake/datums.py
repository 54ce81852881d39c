"""
Elevations of one vertical datum in another, where the way between them is known here.

What lies between two datums differs from place to place; it is told by a model, most often a grid
that has to be on the machine. Where it is not, nothing is converted, and the grid is named.

References
----------
.. [1] EPSG data set, as PROJ carries it: vertical coordinate reference systems and the operations
   between them, each with its accuracy.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.transformer import AreaOfInterest, TransformerGroup

from hydrantgis.ground.text import datum_key
from hydrantgis.ground.units import METRES, LengthUnit

if TYPE_CHECKING:
    from numpy.typing import NDArray

_FT = float(METRES[LengthUnit.FT])
_LEAST_SPREAD_DEG = 0.01


@dataclass(frozen=True, slots=True)
class Shift:
    """
    What has to be added to elevations of one datum to have them in another.

    Attributes
    ----------
    shift_ft
        At each place, missing where it is not known; shape (n,). [ft]
    sd_ft
        Its standard uncertainty: the accuracy that the operation states. [ft]
    by
        The operation, where there is one.
    why_not
        Why there is none, empty where there is.
    """

    shift_ft: NDArray[np.float64]
    sd_ft: float
    by: str
    why_not: str


@lru_cache(maxsize=1)
def _known() -> dict[str, str]:
    """Datum names, folded, and the vertical CRS in metres above it."""
    found: dict[str, str] = {}
    for info in query_crs_info(auth_name="EPSG", pj_types=[PJType.VERTICAL_CRS]):
        name = re.sub(r"\s*\((?:m|ftUS|ft)\)$", "", info.name)
        if not name.endswith(" height") or info.deprecated:
            continue
        unit = pyproj.CRS(f"EPSG:{info.code}").axis_info[0]
        if unit.unit_conversion_factor == 1.0:
            found.setdefault(datum_key(name.removesuffix(" height")), f"EPSG:{info.code}")
    return found


def vertical_crs(name: str) -> str | None:
    """
    The vertical CRS in metres of a datum's name, None where none of that name is known [1]_.

    Examples
    --------
    >>> vertical_crs("NAVD 88"), vertical_crs("NGVD29"), vertical_crs("the city's own")
    ('EPSG:5703', 'EPSG:7968', None)
    """
    return _known().get(datum_key(name))


def shift_between(
    one: str, other: str, lon: NDArray[np.float64], lat: NDArray[np.float64]
) -> Shift:
    """
    From elevations of one datum to those of another.

    Parameters
    ----------
    one, other
        Names of vertical datums.
    lon, lat
        Where, missing ones stay missing, shape (n,). [deg]

    Returns
    -------
    shift
        Missing everywhere where a name is not known, no operation is, or its grid is not here.

    Examples
    --------
    >>> there = (np.array([41.65]), np.array([41.65]))
    >>> told = shift_between("Baltic 1977", "Black Sea", *there)
    >>> (told.shift_ft * 0.3048).round(3).tolist(), told.by
    ([0.4], 'Baltic 1977 height to Black Sea height (1)')
    >>> shift_between("NAVD88", "plant datum", *there).why_not
    'nothing is known of `plant datum`'
    """
    none = np.full(len(lon), np.nan)
    codes = [vertical_crs(name) for name in (one, other)]
    strange = [name for name, code in zip((one, other), codes, strict=True) if code is None]
    if strange:
        return Shift(none, np.nan, "", f"nothing is known of `{strange[0]}`")
    known = np.isfinite(lon) & np.isfinite(lat)
    if not known.any():
        return Shift(none, np.nan, "", "nobody has a place")
    edge = _LEAST_SPREAD_DEG
    area = AreaOfInterest(
        float(lon[known].min()) - edge, float(lat[known].min()) - edge,
        float(lon[known].max()) + edge, float(lat[known].max()) + edge,
    )  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # that a grid is missing is told below
        begin, end = (f"EPSG:4326+{str(code).removeprefix('EPSG:')}" for code in codes)
        ways = TransformerGroup(
            begin, end, always_xy=True, area_of_interest=area, allow_ballpark=False
        )
    for way in ways.transformers:
        _, _, up = way.transform(lon[known], lat[known], np.zeros(int(known.sum())))
        if np.isfinite(up).all() and way.accuracy >= 0:
            shift = none.copy()
            shift[known] = np.asarray(up) / _FT
            name = re.sub(r"axis order change \(2D\) \+ | \+ axis order change \(2D\)", "",
                          way.description)  # fmt: skip
            return Shift(shift, way.accuracy / _FT, name, "")
    grids = sorted({g.short_name for way in ways.unavailable_operations for g in way.grids})
    if grids:
        return Shift(none, np.nan, "", f"the grid {grids[0]} is not on this machine")
    return Shift(none, np.nan, "", "no operation between them is known")
