"""
What a wrong label may have been meant to be: hypotheses about points that lie where they cannot.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj

from hydrantgis.ground.errors import some
from hydrantgis.ground.units import METRES, LengthUnit
from hydrantgis.intake.fits import (
    AREA_MARGIN_DEG,
    NEAR_MI,
    Candidate,
    can_be_degrees,
    candidates,
)
from hydrantgis.intake.systems import (
    area_of_use,
    horizontal,
    known_code,
    proj_text,
    to_degrees,
    within,
)
from hydrantgis.intake.whereabouts import Place

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray

_MOST_POINTS = 2000
_MOST_SYSTEMS = 15
_WORLD_DEG = 180.0


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """
    What the points may be in truth.

    Attributes
    ----------
    what
        The hypothesis in words.
    share
        Share of the points that it puts where they should be, 0 to 1.
    do
        What to do if it holds.
    """

    what: str
    share: float
    do: str

    def __str__(self) -> str:
        return f"{self.what}: {self.share:.0%} inside"


def hypotheses(
    points: NDArray[np.float64], crs: pyproj.CRS, *, service: shapely.Geometry | None = None
) -> list[Hypothesis]:
    """
    What points with a wrong label may be in truth, what puts most of them inside first.

    Tried are swapped axes, a longitude without its sign, metres and feet of the same system,
    degrees for lengths and lengths for degrees, the zone next door, other zones, the datum of 1927.

    Parameters
    ----------
    points
        Shape (n, 2), as the source has them.
    crs
        As the source is labelled.
    service
        Where the points should be; else the area of use of each system is what they must lie in,
        and systems near that of the label are tried. [deg]

    Returns
    -------
    hypotheses
        Those alone that put more of the points inside than the label does.

    Examples
    --------
    >>> metres = np.array([[236_000.0, 901_000.0], [237_000.0, 902_000.0]])
    >>> hypotheses(metres, pyproj.CRS(2249))[0].do
    'if the first is right, pass --crs EPSG:26986'
    """
    known = points[np.isfinite(points).all(axis=1)]
    if not len(known):
        return []
    known = known[:: max(1, len(known) // _MOST_POINTS)]
    place = Place(service) if service is not None else None
    base = _share(known, crs, place)
    found = [
        *_same_system(known, crs, place),
        *_other_systems(known, crs, service, place),
    ]
    better = [h for h in found if h.share > base]
    # what was named first is the nearer kin where two do equally well
    return sorted(better, key=lambda h: -round(h.share, 2))


def _share(points: NDArray[np.float64], crs: pyproj.CRS, place: Place | None) -> float:
    """Share of points inside the area of use and near the place, as far as they are known."""
    lon, lat = to_degrees(points, crs)
    area = area_of_use(crs)
    inside = np.isfinite(lon) & np.isfinite(lat)
    if area is not None:
        inside &= within(lon, lat, area, AREA_MARGIN_DEG)
    if place is not None:
        inside &= place.miles(lon, lat) <= NEAR_MI
    return float(inside.mean())


def _same_system(
    points: NDArray[np.float64], crs: pyproj.CRS, place: Place | None
) -> list[Hypothesis]:
    swapped = _share(points[:, ::-1], crs, place)
    found = [Hypothesis("with x and y swapped", swapped, "if the first is right, pass --swap-xy")]
    if crs.is_geographic:
        turned = _share(points * (-1.0, 1.0), crs, place)
        found.append(
            Hypothesis(
                "with the sign of x turned", turned,
                "if longitudes west of Greenwich lost their sign, give it back in the source",
            )
        )  # fmt: skip
    return found


def _in_other_unit(
    points: NDArray[np.float64], crs: pyproj.CRS, place: Place | None
) -> Hypothesis | None:
    """The numbers in metres where the label says feet, or in feet where it says metres."""
    unit = horizontal(crs).axis_info[0].unit_conversion_factor
    foot = float(METRES[LengthUnit.FT])
    if 0.9 < unit < 1.1:
        word, factor = "feet", foot / unit
    elif 0.3 < unit < 0.31:
        word, factor = "metres", 1.0 / unit
    else:
        return None
    return Hypothesis(
        f"the same system with coordinates in {word}",
        _share(points * factor, crs, place),
        f"if the first is right, pass --crs with a CRS in {word}",
    )


def _other_systems(
    points: NDArray[np.float64],
    crs: pyproj.CRS,
    service: shapely.Geometry | None,
    place: Place | None,
) -> list[Hypothesis]:
    near = service if service is not None else _around(crs)
    label = known_code(crs)
    alike: dict[tuple[object, ...], list[Candidate]] = {}
    for candidate in candidates(points, near=near):
        if candidate.code != label:
            other = pyproj.CRS(candidate.code)
            projection = _bare(proj_text(other)) if other.is_projected else (candidate.code,)
            kind = (*projection, candidate.unit, candidate.swapped)
            alike.setdefault(kind, []).append(candidate)
    found: list[tuple[tuple[float, ...], Hypothesis]] = []
    for rank, (candidate, *rest) in enumerate(list(alike.values())[:_MOST_SYSTEMS]):
        other = pyproj.CRS(candidate.code)
        kin, word = _kinship(crs, other, candidate)
        seen = points[:, ::-1] if candidate.swapped else points
        # realisations of one grid lie within feet of each other; which is meant no place can tell
        told = str(candidate) + (f", or {some([c.code for c in rest], 2)}" if rest else "")
        told += f" ({word})" if word else ""
        do = f"if the first is right, pass --crs {candidate.code}"
        do += " --swap-xy" if candidate.swapped else ""
        far = candidate.miles is not None and candidate.miles > NEAR_MI
        key = (float(far), float(candidate.swapped), kin, float(rank))
        found.append((key, Hypothesis(told, _share(seen, other, place), do)))
    found.sort(key=lambda entry: entry[0])
    others = [h for _, h in found]
    same_zone = any(key[2] == 0 for key, _ in found)
    if crs.is_projected and not same_zone and not can_be_degrees(points):
        unit = _in_other_unit(points, crs, place)
        others = [unit, *others] if unit is not None else others
    return others


def _around(crs: pyproj.CRS) -> tuple[float, ...] | None:
    """The box of a label's area of use; None where that is half the world and tells nothing."""
    area = area_of_use(crs)
    if area is None or (area.east - area.west) % 360 >= _WORLD_DEG or area.east - area.west >= 360:
        return None
    return (area.west, area.south, area.east, area.north)


def _kinship(label: pyproj.CRS, other: pyproj.CRS, candidate: Candidate) -> tuple[float, str]:
    """How near another system is to the label, 0 nearest, and in what it differs."""
    if label.is_geographic != other.is_geographic:
        degrees = other.is_geographic
        return 1.0, "degrees, not lengths" if degrees else "lengths, not degrees"
    ours, theirs = horizontal(label), other
    if label.is_geographic:
        return 2.0, "another datum"
    one, two = _bare(proj_text(ours)), _bare(proj_text(theirs))
    if one == two:
        word = f"the same zone in {_plural(candidate.unit)}"
        return 0.0, word if _unit(ours) != _unit(theirs) else "the same zone on another datum"
    zone_a, zone_b = _utm_zone(proj_text(ours)), _utm_zone(proj_text(theirs))
    if zone_a and zone_b:
        next_door = abs(zone_a - zone_b) in {1, 59}
        return (2.0, "the UTM zone next door") if next_door else (3.0, "another UTM zone")
    old = theirs.name.startswith("NAD27") and not ours.name.startswith("NAD27")
    if old:
        same = _zone_name(ours.name) == _zone_name(theirs.name)
        return 2.5, "the same zone on NAD27" if same else "NAD27"
    same_kind = ours.name.split(" / ")[0] == theirs.name.split(" / ")[0]
    return (3.0, "another zone of the same datum") if same_kind else (4.0, "")


def _unit(crs: pyproj.CRS) -> float:
    return round(crs.axis_info[0].unit_conversion_factor, 9)


def _plural(unit: str) -> str:
    return unit.replace("foot", "feet") if "foot" in unit else f"{unit}s"


def _zone_name(name: str) -> str:
    return re.sub(r"\s*\(.*?\)", "", name.split(" / ")[-1])


def _bare(text: str) -> tuple[str, ...]:
    """The words of a projection without unit and datum; false origins rounded to a metre."""
    words = []
    for word in text.split():
        name, _, value = word[1:].partition("=")
        if name in {"units", "to_meter", "datum", "ellps", "a", "b", "rf", "pm"}:
            continue
        words.append(f"{name}={float(value):.0f}" if name in {"x_0", "y_0"} else word)
    parallels = sorted(w.partition("=")[2] for w in words if w.startswith(("+lat_1", "+lat_2")))
    rest = [w for w in words if not w.startswith(("+lat_1", "+lat_2"))]
    return (*rest, *parallels)


def _utm_zone(text: str) -> int | None:
    found = re.search(r"\+proj=utm \+zone=(\d+)", text)
    return int(found[1]) if found else None
