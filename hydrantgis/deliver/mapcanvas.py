"""
The ground of small printed maps: from layers on a plane to SVG, with labels apart as data.

Labels are no part of the SVG, so that no text of a source ever stands in markup.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hydrantgis.deliver.inert import inert
from hydrantgis.ground.plane import plane_ft, xy

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj
    from numpy.typing import NDArray

    Rectangle = tuple[float, float, float, float]

_LABEL_PT = 8.0
_BESIDE_PT = {"job": 10.0, "stop": 10.0, "valve": 9.0}
"""How far from its mark a label stands; 6 elsewhere. [1/72 in]"""
_ALWAYS = tuple(_BESIDE_PT)
"""Labels that are set over others where there is no room."""
_FURNITURE = 2
"""So many places are taken before anything is drawn: those of scale and arrow."""
_NICE_FT = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000, 100000)
_LONGEST_LABEL = 26


@dataclass(frozen=True, slots=True)
class Backdrop:
    """
    What maps of one district are drawn from, on one plane. [ft]

    Attributes
    ----------
    hydrants, valves
        Places, shapes (n, 2) and (m, 2); missing ones are not drawn.
    hydrant_ids, valve_ids
        Their ids.
    streets, mains
        Lines.
    street_names
        Of the streets; None where there is none.
    to_plane
        From the CRS of the layers; None where they have none.
    """

    hydrants: NDArray[np.float64]
    hydrant_ids: NDArray[np.object_]
    valves: NDArray[np.float64]
    valve_ids: NDArray[np.object_]
    streets: NDArray[np.object_]
    street_names: NDArray[np.object_]
    mains: NDArray[np.object_]
    to_plane: pyproj.Transformer | None
    trees: dict[str, shapely.STRtree] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        hydrants: gpd.GeoDataFrame,
        valves: gpd.GeoDataFrame,
        streets: gpd.GeoDataFrame,
        mains: gpd.GeoDataFrame,
    ) -> Backdrop:
        """
        The backdrop of layers in one CRS.

        Parameters
        ----------
        hydrants, valves, streets, mains
            The tables of those names.
        """
        crs = hydrants.crs
        every = xy(hydrants.geometry)
        to_plane = None if crs is None else plane_ft(every, crs)

        def flat(points: NDArray[np.float64]) -> NDArray[np.float64]:
            if to_plane is None or not len(points):
                return np.full((len(points), 2), np.nan)
            return np.column_stack(to_plane.transform(points[:, 0], points[:, 1]))

        def lines(layer: gpd.GeoDataFrame) -> NDArray[np.object_]:
            shapes = np.asarray(layer.geometry.array, dtype=object)
            there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
            if to_plane is None or not there.any():
                return np.full(len(shapes), None, dtype=object)
            moved = np.full(len(shapes), None, dtype=object)
            moved[there] = shapely.transform(shapes[there], flat)
            return moved

        drawn = {"streets": lines(streets), "mains": lines(mains)}
        return cls(
            flat(every), hydrants["hydrant_id"].to_numpy(dtype=object), flat(xy(valves.geometry)),
            valves["valve_id"].to_numpy(dtype=object), drawn["streets"],
            streets["street_title"].to_numpy(dtype=object, na_value=""), drawn["mains"],
            to_plane, {name: shapely.STRtree(shapes) for name, shapes in drawn.items()},
        )  # fmt: skip

    def within(self, name: str, box: Rectangle) -> tuple[NDArray[np.intp], NDArray[np.object_]]:
        """Lines of a layer cut to a box, and which ones they are."""
        shapes = self.streets if name == "streets" else self.mains
        rows = np.sort(self.trees[name].query(shapely.box(*box)))
        cut = shapely.clip_by_rect(shapes[rows], *box)
        kept = ~shapely.is_empty(cut)
        return rows[kept], cut[kept]


@dataclass(slots=True)
class Canvas:
    """A map as it grows: from feet to points of the page, marks, labels that do not overlap."""

    middle: tuple[float, float]
    half_ft: float
    size_pt: tuple[float, float]
    marks: list[str] = field(default_factory=list)
    labels: list[dict[str, Any]] = field(default_factory=list)
    taken: list[Rectangle] = field(default_factory=list)

    @property
    def scale(self) -> float:
        """Points of the page a foot."""
        return min(self.size_pt) / (2.0 * self.half_ft)

    @property
    def box(self) -> Rectangle:
        """West, south, east and north of the map. [ft]"""
        half = np.asarray(self.size_pt) / self.scale / 2.0
        x, y = self.middle
        return (x - half[0], y - half[1], x + half[0], y + half[1])

    def page(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """From the plane to the page, which counts down."""
        moved = (np.asarray(points, dtype=np.float64) - self.middle) * (self.scale, -self.scale)
        return np.asarray(moved + np.asarray(self.size_pt) / 2.0, dtype=np.float64)

    def inside(self, points: NDArray[np.float64]) -> NDArray[np.intp]:
        """Which points lie in the map, and not under its scale or its arrow."""
        x, y = self.page(points).T
        wide, tall = self.size_pt
        there = (x > 3) & (x < wide - 3) & (y > 3) & (y < tall - 3)
        for left, top, right, bottom in self.taken[:_FURNITURE]:
            there &= ~((x > left - 4) & (x < right + 4) & (y > top - 4) & (y < bottom + 4))
        return np.flatnonzero(there)

    def lines(self, shapes: NDArray[np.object_], *looks: str) -> None:
        """Draw lines once for each look, so that crossings of cased lines stay open."""
        thinned = shapely.simplify(shapely.get_parts(shapes), 0.3 / self.scale)
        at, of = shapely.get_coordinates(thinned, return_index=True)
        if not len(at):
            return
        begins = np.append(True, of[1:] != of[:-1])
        pieces = [
            f"{'M' if first else 'L'}{x:.1f} {y:.1f}"
            for first, (x, y) in zip(begins, self.page(at), strict=True)
        ]
        path = "".join(pieces)
        self.marks += [f'<path d="{path}" fill="none" {look}/>' for look in looks]

    def symbol(self, kind: str, at: NDArray[np.float64]) -> None:
        """Draw a mark of the legend at a point of the page, and keep labels off it."""
        x, y = at
        self.marks.append(f'<g transform="translate({x:.1f} {y:.1f})">{SYMBOLS[kind]}</g>')
        room = 8 if kind in ("job", "closed", "depot") else 4.5
        self.taken.append((x - room, y - room, x + room, y + room))

    def label(self, text: str, at: NDArray[np.float64], kind: str, angle: float = 0.0) -> bool:
        """Set a label where there is room, else leave it out; some stand always."""
        told = inert(text, _LONGEST_LABEL)
        wide, tall = _wide_pt(told), _LABEL_PT + 2
        x, y = float(at[0]), float(at[1])
        if kind == "street":
            turned = np.radians(angle)
            half = (
                (abs(np.cos(turned)) * wide + abs(np.sin(turned)) * tall) / 2,
                (abs(np.sin(turned)) * wide + abs(np.cos(turned)) * tall) / 2,
            )
            tries = [("center", x, y, (x - half[0], y - half[1], x + half[0], y + half[1]))]
        else:
            off = _BESIDE_PT.get(kind, 6.0)
            tries = [
                ("left", x + off, y, (x + off, y - tall / 2, x + off + wide, y + tall / 2)),
                ("right", x - off, y, (x - off - wide, y - tall / 2, x - off, y + tall / 2)),
                ("center", x, y - 12, (x - wide / 2, y - 12 - tall / 2, x + wide / 2, y - 7)),
                ("center", x, y + 12, (x - wide / 2, y + 7, x + wide / 2, y + 12 + tall / 2)),
            ]
        free = [one for one in tries if self._free(one[3])]
        if kind in _ALWAYS:
            free += [one for one in tries if self._fits(one[3])]
        if not free:
            return False
        side, left, top, rectangle = free[0]
        self.taken.append(rectangle)
        self.labels.append(
            {"t": told, "x": round(left, 1), "y": round(top, 1), "side": side, "kind": kind,
             "angle": round(angle, 1)}
        )  # fmt: skip
        return True

    def _fits(self, one: Rectangle) -> bool:
        inside = one[0] >= 1 and one[1] >= 1
        return inside and one[2] <= self.size_pt[0] - 1 and one[3] <= self.size_pt[1] - 1

    def _free(self, one: Rectangle) -> bool:
        return self._fits(one) and not any(_overlap(one, other) for other in self.taken)

    def scale_bar(self) -> None:
        """A bar of a round length, at the lower left, on white."""
        most = 0.42 * self.size_pt[0] / self.scale
        length = max((ft for ft in _NICE_FT if ft <= most), default=_NICE_FT[0])
        wide, y = length * self.scale, self.size_pt[1] - 6
        text = f"{length:,} ft"
        room = wide + _wide_pt(text) + 10
        self.marks.append(
            f'<rect x="1" y="{y - 8:.1f}" width="{room:.1f}" height="13" fill="#fff"/>'
            f'<path d="M6 {y - 4:.1f}V{y:.1f}H{6 + wide:.1f}V{y - 4:.1f}" fill="none" '
            'stroke="#000" stroke-width="1.2"/>'
        )
        self.labels.append(
            {"t": text, "x": 10 + wide, "y": y - 2, "side": "left", "kind": "bar", "angle": 0}
        )
        self.taken += [(0, y - 9, room, self.size_pt[1]), (self.size_pt[0] - 16, 0,
                       self.size_pt[0], 26)]  # fmt: skip

    def drawn(self) -> dict[str, Any]:
        """The map as a page holds it."""
        wide, tall = self.size_pt
        frame = f'<rect x="0.5" y="0.5" width="{wide - 1:g}" height="{tall - 1:g}"'
        north = '<path d="M0 4L3 -5L6 4L3 2Z" fill="#000"/>'
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {tall:g}" '
            f'width="{wide:g}pt" height="{tall:g}pt">{"".join(self.marks)}'
            f'<rect x="{wide - 15:g}" y="1" width="14" height="24" fill="#fff"/>'
            f'<g transform="translate({wide - 11:g} 17)">{north}</g>'
            f'{frame} fill="none" stroke="#000" stroke-width="0.8"/></svg>'
        )
        labels = [
            *self.labels,
            {"t": "N", "x": wide - 8, "y": 7, "side": "center", "kind": "bar", "angle": 0},
        ]
        return {"svg": svg, "labels": labels, "width": wide, "height": tall}


def _overlap(one: Rectangle, other: Rectangle) -> bool:
    across = one[0] < other[2] and other[0] < one[2]
    return across and one[1] < other[3] and other[1] < one[3]


def _wide_pt(text: str) -> float:
    """About how wide a label is, rather more than less. [1/72 in]"""
    wide = sum(
        1.0 if letter in "MW@%" or unicodedata.east_asian_width(letter) in "WF"
        else 0.8 if letter.isupper() else 0.62
        for letter in text
    )  # fmt: skip
    return wide * _LABEL_PT + 2


SYMBOLS = {
    "job": '<circle r="7.5" fill="#fff" stroke="#000" stroke-width="1.4"/><circle r="4.4"/>',
    "hydrant": '<circle r="3.2" fill="#fff" stroke="#000" stroke-width="1.2"/>',
    "valve": '<path d="M-4 -3L4 3V-3L-4 3Z" fill="#fff" stroke="#000" stroke-width="0.9"/>',
    "closed": '<path d="M-6.5 -5L6.5 5V-5L-6.5 5Z" fill="#000" stroke="#000"/>',
    "depot": '<path d="M-5 5V-1L0 -6L5 -1V5Z" fill="#fff" stroke="#000" stroke-width="1.3"/>',
}
"""Marks that black ink alone tells apart: filled, open, bow tie."""
