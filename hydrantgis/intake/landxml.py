"""
LandXML: surveyed points and triangulated surfaces.

References
----------
.. [1] LandXML-1.2 schema (2008): `CgPoint`, `P` and `PntList3D` hold northing, easting, elevation;
   `F` the ids of three `P`, and `i="1"` where it is invisible (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.intake.landxml_head import Handler, LandXMLWords, go_through

if TYPE_CHECKING:
    from pathlib import Path
    from xml.sax.xmlreader import AttributesImpl

    from numpy.typing import NDArray

__all__ = [
    "POINT_COLUMNS", "LandXMLPoints", "LandXMLSurfaces", "LandXMLWords", "Surface", "read_points",
    "read_surfaces",
]  # fmt: skip

POINT_COLUMNS = (
    "point_id", "code", "description", "northing", "easting", "elevation", "elevation_sd", "group",
)  # fmt: skip
_NOTHING = np.empty((0, 3))


@dataclass(frozen=True, slots=True)
class LandXMLPoints:
    """
    The points of a file.

    Attributes
    ----------
    points
        Columns `POINT_COLUMNS`, coordinates as they stand in the file; index the number of the
        point in it, from 1.
    rejected
        The rest, with columns `text` and `reason`; same kind of index.
    words
        What the file says of the coordinates.
    findings
        Of table `shots`.
    """

    points: pd.DataFrame
    rejected: pd.DataFrame
    words: LandXMLWords
    findings: pd.DataFrame


@dataclass(frozen=True, slots=True)
class Surface:
    """
    A triangulated surface.

    Attributes
    ----------
    name, description
        As the file has them.
    kind
        `TIN` or `grid`; None where the surface has no definition.
    vertices
        East, north and elevation, shape (n, 3).
    faces
        Three vertices of each visible triangle, by place from 0, shape (m, 3).
    source_points
        East, north and elevation of what the surface was made from, shape (k, 3).
    invisible, left_out
        How many triangles are marked as not to be seen, and how many could not be read.
    """

    name: str
    description: str | None
    kind: str | None
    vertices: NDArray[np.float64]
    faces: NDArray[np.intp]
    source_points: NDArray[np.float64]
    invisible: int
    left_out: int


@dataclass(frozen=True, slots=True)
class LandXMLSurfaces:
    """The surfaces of a file, what it says of the coordinates, and findings of table `surfaces`."""

    surfaces: list[Surface]
    words: LandXMLWords
    findings: pd.DataFrame


def read_points(path: Path) -> LandXMLPoints:
    """
    The coordinate geometry points of a LandXML file.

    Parameters
    ----------
    path
        LandXML 1.0 to 1.2, in any namespace.

    Returns
    -------
    points
        A point that refers to another has the coordinates of that one. Points are rejected that
        have no coordinates, or refer to a point that is not there or not the only one of its name.

    Raises
    ------
    UnreadableError
        The file breaks off, is no LandXML, or holds what could reach beyond itself.
    """
    held = _Points()
    words, noticed = go_through(path, held)
    frame = pd.DataFrame(
        {**held.cells, "text": held.text}, index=pd.RangeIndex(1, len(held.text) + 1), dtype="str"
    )
    place = _triples(held.text)
    reason = pd.Series(None, index=frame.index, dtype="str")
    nowhere = np.asarray(np.isnan(place[:, :2]).any(axis=1))
    reason = reason.mask(nowhere, "no northing and easting can be read")
    _follow(frame, place, reason)
    unread = np.isnan(place[:, 2]) & (frame["text"].str.count(" ") > 1)
    reason = reason.mask(reason.isna() & unread, "the elevation cannot be read")
    frame["northing"], frame["easting"], frame["elevation"] = place.T
    frame["elevation_sd"] = pd.to_numeric(frame["elevation_sd"], errors="coerce")
    bad = reason.notna()
    rejected = frame.loc[bad, ["point_id", "text"]].assign(reason=reason[bad])
    noticed = join_findings(
        noticed,
        findings(
            "line-unreadable", table="shots", keys=rejected.index, values=rejected["text"],
            messages=rejected["reason"],
        ),
    )  # fmt: skip
    return LandXMLPoints(frame.loc[~bad, list(POINT_COLUMNS)], rejected, words, noticed)


def read_surfaces(path: Path) -> LandXMLSurfaces:
    """
    The surfaces of a LandXML file.

    Parameters
    ----------
    path
        LandXML 1.0 to 1.2, in any namespace.

    Returns
    -------
    surfaces
        Also those without triangles, in the order of the file. Lists of points without elevations,
        as boundaries mostly are, are not among their source points.

    Raises
    ------
    UnreadableError
        The file breaks off, is no LandXML, or holds what could reach beyond itself.
    """
    held = _Surfaces()
    words, noticed = go_through(path, held)
    made = [part.made() for part in held.parts]
    return LandXMLSurfaces(
        [surface for surface, _ in made], words, join_findings(noticed, *(told for _, told in made))
    )


class _Points(Handler):
    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        names = ("point_id", "code", "description", "elevation_sd", "ref", "group")
        self.cells: dict[str, list[str | None]] = {name: [] for name in names}
        self.groups: list[str | None] = []

    def begins(self, name: str, attrs: AttributesImpl) -> bool:
        if name == "CgPoints":
            self.groups.append(attrs.get("name"))
        if name != "CgPoint":
            return False
        cells = self.cells
        cells["point_id"].append(attrs.get("name") or attrs.get("oID"))
        cells["code"].append(attrs.get("code"))
        cells["description"].append(attrs.get("desc"))
        cells["elevation_sd"].append(attrs.get("elevationStdError"))
        cells["ref"].append(attrs.get("pntRef"))
        cells["group"].append(self.groups[-1] if self.groups else None)
        self.text.append("")
        return True

    def ends(self, name: str, text: str | None) -> None:
        if name == "CgPoints":
            self.groups.pop()
        elif name == "CgPoint" and text is not None:
            self.text[-1] = " ".join(text.split())


def _follow(frame: pd.DataFrame, place: NDArray[np.float64], reason: pd.Series) -> None:
    """Give points that only refer to another the coordinates of that one, however far it goes."""
    known = frame["point_id"][frame["point_id"].notna()]
    twice = known[known.duplicated(keep=False)].unique()
    position = pd.Series(np.flatnonzero(frame["point_id"].notna()), index=known)
    position = position[~position.index.duplicated()]
    bare = np.flatnonzero(frame["ref"].notna() & (frame["text"] == ""))
    ref = frame["ref"].iloc[bare]
    unclear = ref.isin(twice).to_numpy()
    target = position.reindex(ref).fillna(-1).to_numpy().astype(np.intp)
    there = (target >= 0) & ~unclear
    reason.iloc[bare[target < 0]] = "the point that it refers to is not there"
    reason.iloc[bare[unclear]] = "several points have the name that it refers to"
    at = np.arange(len(frame))
    at[bare[there]] = target[there]
    # each round goes twice as far along the chain; a chain is no longer than there are points
    for _ in range(len(frame).bit_length()):
        at = at[at]
    moved = bare[there]
    place[moved] = place[at[moved]]
    found = np.isfinite(place[moved, :2]).all(axis=1)
    reason.iloc[moved[found]] = None
    reason.iloc[moved[~found]] = "the point that it refers to has no coordinates"


@dataclass(slots=True)
class _Part:
    """A surface as it is gathered."""

    name: str
    description: str | None
    kind: str | None = None
    ids: list[str] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    corners: list[str] = field(default_factory=list)
    lists: list[str] = field(default_factory=list)
    invisible: int = 0
    not_three: int = 0

    def made(self) -> tuple[Surface, pd.DataFrame]:
        place = _triples(self.places)
        index = pd.Index(self.ids, dtype="str")
        double = index.duplicated(keep=False)
        bad = double | ~np.isfinite(place).all(axis=1)
        vertices = place[~bad][:, [1, 0, 2]]
        faces = index[~bad].get_indexer(pd.Index(self.corners, dtype="str")).reshape(-1, 3)
        whole = (faces >= 0).all(axis=1)
        listed = [_flat(text) for text in self.lists]
        usable = [part for part in listed if part is not None]
        left_out = int((~whole).sum()) + self.not_three
        surface = Surface(
            self.name, self.description, self.kind, vertices, faces[whole].astype(np.intp),
            np.concatenate(usable or [_NOTHING]), self.invisible, left_out,
        )  # fmt: skip
        unread = int(bad.sum()) + len(listed) - len(usable)
        told = [no_findings()]
        for code, many, what in (
            ("surface-point-unreadable", unread, "points, or lists of points, not read"),
            ("triangles-left-out", left_out, "triangles name no three points that can be read"),
        ):
            if many:
                told.append(
                    findings(
                        code, table="surfaces", keys=[self.name], values=[many],
                        messages=f"{many:,} {what}",
                    )
                )  # fmt: skip
        if not whole.any():
            told.append(findings("no-triangles", table="surfaces", keys=[self.name]))
        return surface, join_findings(*told)


class _Surfaces(Handler):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[_Part] = []
        self.inside = False

    def begins(self, name: str, attrs: AttributesImpl) -> bool:
        if name == "Surface":
            self.inside = True
            self.parts.append(_Part(attrs.get("name") or "", attrs.get("desc")))
        if not self.inside:
            return False
        part = self.parts[-1]
        if name == "F":
            if attrs.get("i", "0").strip().lower() in ("1", "true"):
                part.invisible += 1
                return False
            return True
        if name == "P":
            part.ids.append((attrs.get("id") or "").strip())
            part.places.append("")
            return True
        if name == "Definition":
            part.kind = attrs.get("surfType")
        return name == "PntList3D"

    def ends(self, name: str, text: str | None) -> None:
        if name == "Surface":
            self.inside = False
        if text is None:
            return
        part = self.parts[-1]
        if name == "F":
            corners = text.split()
            if len(corners) == 3:
                part.corners += corners
            else:
                part.not_three += 1
        elif name == "P":
            part.places[-1] = text
        elif name == "PntList3D":
            part.lists.append(text)


def _triples(texts: list[str]) -> NDArray[np.float64]:
    """Two or three numbers of each text, missing where they are not that, shape (n, 3)."""
    cells = [text.split() for text in texts]
    filled = [(*c, "nan") if len(c) == 2 else c if len(c) == 3 else ("nan",) * 3 for c in cells]
    place = _numbers(np.array(filled, dtype=np.str_).reshape(-1, 3))
    return np.where(np.isfinite(place), place, np.nan)


def _flat(text: str) -> NDArray[np.float64] | None:
    """A list of northing, easting, elevation as east, north, elevation; None for no such list."""
    numbers = _numbers(np.array(text.split(), dtype=np.str_))
    if len(numbers) % 3 or not np.isfinite(numbers).all():
        return None
    return numbers.reshape(-1, 3)[:, [1, 0, 2]]


def _numbers(cells: NDArray[np.str_]) -> NDArray[np.float64]:
    try:
        return cells.astype(np.float64)
    except ValueError:
        flat = pd.to_numeric(pd.Series(cells.ravel(), dtype="str"), errors="coerce")
        return flat.to_numpy(dtype=np.float64, na_value=np.nan).reshape(cells.shape)
