"""
Make the demo district: an invented town, its hydrants, what a crew measured, and the truth.

`python data_demo/make.py` writes every data file beside itself anew, the same bytes each time.
The truth is made first and the readings from it; nothing here knows how heights are judged.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely.ops import substring

HERE = Path(__file__).parent
CRS = "EPSG:3736"
EAST_FT, NORTH_FT = 728_000.0, 965_000.0  # open rangeland
STANDS_FT, APART_FT = 254.0, 178.0  # along a street; between any two hydrants
Array = NDArray[np.float64]

RULE = tomllib.loads((HERE / "rule.toml").read_text(encoding="utf-8"))
LO_IN, HI_IN = RULE["window"]["lo_in"], RULE["window"]["hi_in"]

rng = np.random.default_rng(20260930)


# --- streets -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Street:
    """A named street in town feet (x right, y up, before the town is turned and bent)."""

    name: str
    line: LineString
    size_in: int
    material: str
    dead_end: bool = False


def bent(points: Array) -> Array:
    """Town feet to state plane feet: no street stays quite straight, and the town is turned."""
    x, y = points[:, 0], points[:, 1]
    u = x + 70 * np.sin(y / 1400) + 35 * np.sin((x + y) / 900)
    v = y + 80 * np.sin(x / 1700 + 0.6) + 25 * np.cos((x - y) / 800)
    turn = np.radians(8.0)
    east = EAST_FT + u * np.cos(turn) - v * np.sin(turn)
    north = NORTH_FT + u * np.sin(turn) + v * np.cos(turn)
    return np.column_stack([east, north])


def straight(*points: tuple[float, float]) -> LineString:
    """A line with a point every 60 ft or so, so that bending it shows."""
    return shapely.segmentize(LineString(points), 60.0)


def curve(*points: tuple[float, float], rounds: int = 4) -> LineString:
    """A rounded line: the corners are cut again and again (Chaikin)."""
    knots = np.array(points, dtype=np.float64)
    for _ in range(rounds):
        a, b = knots[:-1], knots[1:]
        inner = np.stack([0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b], axis=1).reshape(-1, 2)
        knots = np.vstack([knots[:1], inner[1:-1], knots[-1:]])
    return LineString(knots)


# Names in the order in which streets ask for them.
NAMES = iter([
    "Anvil", "Bittern", "Candlewick", "Dunnock", "Eiderdown", "Fennel", "Gantry", "Hassock",
    "Inkwell", "Juniper", "Kittiwake", "Lantern", "Marram", "Nettle", "Osier", "Pennant",
    "Quillet", "Rushlight", "Saddler", "Tansy", "Umber", "Vetch", "Whimbrel", "Yarrow",
    "Zither", "Ashlar", "Bobbin", "Coracle", "Dowel", "Ember", "Fathom", "Garnet", "Hurdle",
    "Ingot", "Jackdaw", "Kestrel", "Lapwing", "Mallet", "Nuthatch", "Oriole", "Plover",
    "Quartz", "Redstart", "Siskin", "Teasel", "Turnstone", "Verge", "Wagtail", "Wherry",
    "Yaffle", "Alembic", "Bracken", "Chantry", "Damson", "Elver", "Flint", "Gable", "Heddle",
    "Isinglass", "Jetty", "Kiln", "Lovage", "Medlar", "Nankeen", "Orchard", "Pipit", "Quoin",
    "Ropewalk", "Sorrel", "Thimble", "Trellis", "Umbel", "Vellum", "Wicket", "Withy", "Yoke",
    "Almond", "Barley", "Clover", "Dapple", "Eyebright", "Foxglove", "Goldcrest", "Harebell",
    "Ironbark", "Jessamy", "Knapweed", "Linnet", "Moorhen", "Newel", "Oxlip", "Pintle",
    "Quince", "Ramson", "Spindle", "Treadle", "Valerian", "Woodruff", "Yellowhammer", "Adze",
    "Bellows", "Chisel", "Distaff", "Easel", "Ferrule", "Gimlet", "Hawser", "Inglenook",
    "Lathe", "Mortar", "Noggin", "Oakum", "Pestle", "Ratchet", "Scuttle", "Tiller", "Unicorn",
    "Viol", "Warp", "Weft",
])  # fmt: skip


def spurs(parent: Street, places: Array, lengths: Array, others: list[Street]) -> list[Street]:
    """Culs-de-sac off a street, in turn to either side, kept clear of every other street."""
    made: list[Street] = []
    for i, (place, length) in enumerate(zip(places, lengths, strict=True)):
        at, ahead = parent.line.interpolate(place), parent.line.interpolate(place + 10)
        along = np.array([ahead.x - at.x, ahead.y - at.y]) / at.distance(ahead)
        side = np.array([-along[1], along[0]]) * (1 if i % 2 else -1)
        lean = along * rng.uniform(-0.55, 0.55)
        start = np.array([at.x, at.y])
        knots = [
            start,
            start + side * 0.45 * length,
            start + (side + lean) * 0.75 * length,
            start + (side * 0.9 + 1.5 * lean) * length,
        ]
        line = curve(*[(float(x), float(y)) for x, y in knots])
        near = shapely.union_all([s.line for s in [*others, *made]])
        clear = [
            far
            for far in np.arange(300.0, line.length, 20.0)
            if substring(line, 0, far).distance(near) > 190
            and substring(line, 240, far).distance(parent.line) > 190
        ]
        if clear:
            name = f"{next(NAMES)} {('Court', 'Close', 'Place')[i % 3]}"
            cut = LineString(substring(line, 0, clear[-1]).coords)
            made.append(Street(name, cut, 6, "PVC", dead_end=True))
    return made


def streets() -> list[Street]:
    """The town: an old grid, an older quarter along the railway, new quarters that curve."""
    town: list[Street] = []

    def add(kind: str, line: LineString, size: int = 8, material: str = "ductile iron") -> Street:
        town.append(Street(f"{next(NAMES)} {kind}", line, size, material))
        return town[-1]

    xs = np.array([0.0, 430, 850, 1300, 1730, 2210, 2650])
    ys = np.array([0.0, 350, 690, 1050, 1390, 1760, 2100, 2470, 2830, 3200, 3600])
    for i, x in enumerate(xs):  # a square and a school ground interrupt two avenues
        holes = {2: (1390, 2100), 4: (2470, 3200)}.get(i)
        low = 350.0 if i in (0, 6) else 0.0
        if holes is None:
            add("Avenue", straight((x, low), (x, 3600)), 12 if i == 3 else 8, "cast iron")
        else:
            name = f"{next(NAMES)} Avenue"
            town.append(Street(name, straight((x, low), (x, holes[0])), 8, "cast iron"))
            town.append(Street(name, straight((x, holes[1]), (x, 3600)), 8, "cast iron"))
    for i, y in enumerate(ys):
        left = 430.0 if i == 0 else (0.0 if i < 8 else (0.0, 430.0, 850.0)[i - 8])
        right = 2210.0 if i == 0 else 2650.0
        if i in (5, 8):  # the street that would cross the square, and the school ground
            gap = (430, 1300) if i == 5 else (1300, 2210)
            name = f"{next(NAMES)} Street"
            town.append(Street(name, straight((left, y), (gap[0], y)), 6, "cast iron"))
            town.append(Street(name, straight((gap[1], y), (right, y)), 6, "cast iron"))
        else:
            add("Street", straight((left, y), (right, y)), 12 if i == 4 else 6, "cast iron")

    # The old quarter stands askew, along the railway that is gone.
    slope = np.radians(-31.0)
    turn = np.array([[np.cos(slope), np.sin(slope)], [-np.sin(slope), np.cos(slope)]])

    def askew(*points: tuple[float, float]) -> LineString:
        placed = np.array(points) @ turn + np.array([-2270.0, 1640.0])
        return straight(*[(float(x), float(y)) for x, y in placed])

    for i, v in enumerate((0.0, 370, 730, 1120, 1480)):
        add("Street", askew((0.0 if i else 380.0, v), (1900.0 - 80 * i, v)), 6, "cast iron")
    for i, u in enumerate((0.0, 400, 790, 1190, 1580)):
        add("Row", askew((u, 370.0 if i == 0 else 0.0), (u, 1480.0 if i < 4 else 1120.0)), 6)
    add("Street", straight((-640, 660), (-300, 690), (0, 690)), 12)
    add("Street", curve((-403, 1370), (-200, 1430), (0, 1390)), 8)
    add("Street", straight((-154, 2095), (0, 2100)), 6)

    # The highway, and the yards along it.
    road = "Rangeline Highway"
    highway = curve(
        (-3900, -420), (-2600, -640), (-1200, -330), (300, -560), (2000, -480), (3400, -760),
        (5200, -420), (6900, -640),
    )  # fmt: skip
    town.append(Street(road, highway, 12, "ductile iron"))
    for x in (430.0, 1300.0, 2210.0):
        end = straight((x, -800), (x, 0)).intersection(highway).coords[0]
        add("Avenue", straight((x, 0), (end[0], end[1])), 8)

    # New quarters: east, north, south-east.
    east = add(
        "Drive",
        curve((2650, 3200), (3500, 3350), (4700, 3100), (5350, 2200), (5200, 1100), (4300, 420),
              (3400, 300), (2650, 350)),
        12, "PVC",
    )  # fmt: skip
    inner = add(
        "Way", curve((2650, 2470), (3300, 2560), (4150, 2330), (4350, 1650), (3900, 1130),
                     (3300, 1010), (2650, 1050)), 8, "PVC",
    )  # fmt: skip
    lane = add("Lane", curve((4262, 1700), (4500, 1760), (4900, 1700), (5232, 1650)), 8, "PVC")
    hill = add(
        "Road", curve((1300, 3600), (1240, 4200), (1700, 4800), (1500, 5500), (2050, 6150)),
        8, "PVC",
    )  # fmt: skip
    crest = add(
        "Rise", curve((1555, 4640), (2200, 4900), (3000, 4700), (3500, 4150), (3400, 3330)),
        8, "PVC",
    )  # fmt: skip
    west = add(
        "Road", curve((-480, 2480), (-700, 3000), (-350, 3700), (300, 4300), (1420, 4450)),
        8, "PVC",
    )  # fmt: skip
    add("Street", curve((-480, 2480), (-250, 2430), (0, 2470)), 8)
    bend = np.linspace(0.5 * np.pi, 2.5 * np.pi, 41)
    ring = add(
        "Crescent",
        LineString(np.column_stack([3900 + 950 * np.cos(bend), -1680 + 560 * np.sin(bend)])),
        8, "PVC",
    )  # fmt: skip
    top = Point(ring.line.coords[0])
    below = highway.interpolate(highway.project(top))
    add("Link", straight((top.x, top.y), (below.x, below.y)), 8, "PVC")
    yard = add("Yard Road", curve((900, -515), (850, -1100), (1300, -1500), (2300, -1420)), 12)
    for parent, first, step, least, most in (
        (east, 300, 300, 420, 760), (inner, 380, 330, 330, 470), (hill, 330, 300, 420, 820),
        (crest, 420, 300, 380, 700), (west, 350, 320, 380, 760), (ring, 240, 330, 300, 560),
        (yard, 420, 330, 380, 620), (lane, 330, 330, 300, 400),
    ):  # fmt: skip
        places = np.arange(float(first), parent.line.length - 150, step)
        lengths = rng.uniform(least, most, len(places))
        others = [s for s in town if s is not parent]
        town.extend(spurs(parent, places, lengths, others))
    return [
        Street(s.name, LineString(bent(shapely.get_coordinates(s.line))), s.size_in, s.material,
               s.dead_end)
        for s in town
    ]  # fmt: skip


# --- layers ------------------------------------------------------------------------------------


def beside(line: LineString, places: Array, off: Array) -> Array:
    """Points beside a line, left of it where `off` is positive."""
    here = shapely.get_coordinates(shapely.line_interpolate_point(line, places))
    back = shapely.get_coordinates(shapely.line_interpolate_point(line, places - 1.0))
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, places + 1.0))
    along = (ahead - back) / np.hypot(*(ahead - back).T)[:, None]
    return here + np.column_stack([-along[:, 1], along[:, 0]]) * off[:, None]


def stand_hydrants(town: list[Street]) -> pd.DataFrame:
    """Hydrants along every street, none too near another; where, and at which address."""
    rows: list[pd.DataFrame] = []
    taken = np.empty((0, 2))
    every = shapely.union_all([street.line for street in town])
    for number, street in enumerate(town):
        length = street.line.length
        count = max(1, round(length / STANDS_FT))
        places = (np.arange(count) + 0.5) * length / count
        if street.dead_end and count == 1:
            places = np.array([length - 70.0])
        places = np.clip(places + rng.uniform(-45, 45, count), 12, length - 12)
        side = rng.choice([-1.0, 1.0])
        here = beside(street.line, places, side * rng.uniform(15, 20, count))
        gaps = np.hypot(*(here[:, None] - taken[None]).transpose(2, 0, 1))
        free = (gaps > APART_FT).all(axis=1)
        free &= shapely.distance(shapely.points(here), every) > 13  # none stands in a cross street
        taken = np.vstack([taken, here[free]])
        before = sum(s.line.length for s in town[:number] if s.name == street.name)
        house = (100 + 2 * np.round((before + places[free]) / 8) + (side > 0)).astype(int)
        rows.append(
            pd.DataFrame(
                {"x": here[free, 0], "y": here[free, 1], "street": number, "side": side,
                 "ADDRESS": [f"{h} {street.name}" for h in house]}
            )
        )  # fmt: skip
    return pd.concat(rows, ignore_index=True)


def lay_mains(town: list[Street]) -> pd.DataFrame:
    """The mains under the streets, from junction to junction."""
    rows = []
    for street in town:
        ends = [
            Point(c) for s in town if s is not street for c in (s.line.coords[0], s.line.coords[-1])
        ]
        crossed = shapely.union_all(
            [street.line.intersection(s.line) for s in town if s is not street]
        )
        joints = [*map(Point, shapely.get_coordinates(crossed)), *ends]
        near = [street.line.project(p) for p in joints if p.distance(street.line) < 1.0]
        cuts = np.unique(np.round([0.0, *near, street.line.length], 1))
        cuts = cuts[np.concatenate([[True], np.diff(cuts) > 5.0])]
        rows += [
            (street.size_in, street.material, substring(street.line, a, b))
            for a, b in zip(cuts[:-1], [*cuts[1:-1], street.line.length], strict=True)
        ]
    mains = pd.DataFrame(rows, columns=["SIZE_IN", "MATERIAL", "geometry"])
    mains.insert(0, "MAIN_NO", [f"M-{i:04d}" for i in range(1, len(mains) + 1)])
    mains["geometry"] = shapely.set_precision(mains["geometry"].to_numpy(), 0.01)
    return mains


def draw_centerlines(town: list[Street]) -> pd.DataFrame:
    """The streets from crossing to crossing; those that meet there have one vertex in common."""
    lines = np.array([street.line for street in town])
    ends = np.vstack([np.array(line.coords)[[0, -1]] for line in lines])
    a, b = np.triu_indices(len(lines), 1)
    crossings = shapely.get_coordinates(shapely.intersection(lines[a], lines[b]))
    # an end that just reaches a street, or just passes it, is where the two meet
    spots = np.round(np.vstack([ends, crossings]), 2)
    apart = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1))
    joints = spots[[not (apart[i, :i] < 5.0).any() for i in range(len(spots))]]
    rows = []
    for street in town:
        corners = np.array(street.line.coords)
        here = joints[shapely.distance(shapely.points(joints), street.line) < 5.0]
        gaps = np.hypot(*(corners[:, None] - here[None]).transpose(2, 0, 1))
        bends = np.round(corners[gaps.min(axis=1) >= 5.0], 2)
        along = np.vstack([here, bends])
        order = np.argsort(shapely.line_locate_point(street.line, shapely.points(along)))
        is_joint = np.flatnonzero(order < len(here))
        along = along[order]
        if street.line.is_closed:
            along, is_joint = np.vstack([along, along[:1]]), np.append(is_joint, len(along))
        rows += [
            (street.name, LineString(along[first : last + 1])) for first, last in pairwise(is_joint)
        ]
    streets = pd.DataFrame(rows, columns=["ST_NAME", "geometry"])
    streets.insert(0, "SEG_ID", [f"C-{i:04d}" for i in range(1, len(streets) + 1)])
    return streets


AREA_NAMES = {
    "A1": ("Old Sidings", [(-1500, 1800)]),
    "A2": ("Lower Town", [(1300, 900)]),
    "A3": ("Upper Town", [(1300, 2700)]),
    "A4": ("Eastfold", [(4000, 1800)]),
    "A5": ("Hillward", [(1500, 5000), (-300, 3500), (4500, 3650)]),
    "A6": ("Rangeline", [(4000, -1600), (-2500, -600), (1300, -1000)]),
}


def draw_areas(town: list[Street], served: Array) -> pd.DataFrame:
    """Service areas that part the ground round the served hydrants between them."""
    everything = shapely.union_all(
        [shapely.union_all(shapely.points(served)), *[s.line for s in town if s.dead_end]]
    )
    outline = everything.buffer(620).buffer(-470).simplify(25)
    cuts = (
        [(-60, 240), (-60, 2300), (-3200, 2950)],
        [(-3500, 60), (-60, 240), (2740, 240), (6500, 60)],
        [(-110, 1930), (2790, 1930)],
        [(2740, 240), (2740, 3420), (7000, 3900)],
        [(-60, 2300), (-60, 3420), (2740, 3420)],
    )
    lines = [LineString(bent(shapely.get_coordinates(straight(*cut)))) for cut in cuts]
    faces = shapely.get_parts(
        shapely.polygonize(shapely.get_parts(shapely.union_all([outline.boundary, *lines])))
    )
    faces = faces[shapely.contains(outline, shapely.point_on_surface(faces))]
    seeds = [(area, spot) for area, (_, spots) in AREA_NAMES.items() for spot in spots]
    spots = np.asarray(
        shapely.points(bent(np.array([spot for _, spot in seeds], dtype=np.float64)))
    )
    apart = shapely.distance(faces[:, None], spots[None, :])
    owner = np.array([area for area, _ in seeds])[np.argmin(apart, axis=1)]
    shapes = [shapely.union_all(faces[owner == area]) for area in AREA_NAMES]
    return pd.DataFrame(
        {
            "AREA": list(AREA_NAMES),
            "NAME": [title for title, _ in AREA_NAMES.values()],
            "geometry": [shapely.multipolygons(shapely.get_parts(shape)) for shape in shapes],
        }
    )


def place_valves(hydrants: pd.DataFrame, town: list[Street], mains: pd.DataFrame) -> pd.DataFrame:
    """A valve on every hydrant's branch, and one on most mains beside the junction."""
    lines = np.array([street.line for street in town])[hydrants["street"]]
    stands = shapely.points(hydrants[["x", "y"]])
    tee = shapely.get_coordinates(
        shapely.line_interpolate_point(lines, shapely.line_locate_point(lines, stands))
    )
    there = hydrants[["x", "y"]].to_numpy()
    branch = there + (tee - there) * rng.uniform(0.25, 0.6, len(there))[:, None]
    long = mains[shapely.length(mains["geometry"].to_numpy()) > 180]
    shut = shapely.get_coordinates(
        shapely.line_interpolate_point(long["geometry"].to_numpy(), 14.0)
    )
    size = np.concatenate([np.full(len(branch), 6), long["SIZE_IN"]])
    return pd.DataFrame(
        {
            "VALVE_NO": [f"V-{i:04d}" for i in range(1, len(size) + 1)],
            "SIZE_IN": size,
            "USE": np.repeat(["hydrant branch", "main"], [len(branch), len(shut)]),
            "TURNS": 3 * size + rng.integers(1, 4, len(size)),
            "geometry": shapely.points(np.round(np.vstack([branch, shut]), 2)),
        }
    )


def found_facilities() -> pd.DataFrame:
    """What the hydrants protect."""
    rows = [
        ("school", "Larkmoor School", 1900, 2980), ("school", "Sidings School", -1250, 1500),
        ("school", "Eastfold School", 3500, 1900), ("clinic", "Tesselbrook Clinic", 1500, 1560),
        ("care home", "Hollin House", 640, 2640), ("care home", "Marram Court Home", 4500, 2500),
        ("hall", "Town hall", 1050, 1250), ("hall", "Sidings hall", -900, 2050),
        ("fire station", "Fire station 1", 1490, 520), ("shop", "Brook Stores", 2020, 1240),
        ("shop", "Rangeline Provisions", 1750, -300), ("plant", "Feed mill", 1600, -1150),
        ("plant", "Wool store", 1250, -1750), ("lodging", "Rangeline Lodge", 2800, -420),
        ("pump station", "Hillward pump station", 1760, 5300),
    ]  # fmt: skip
    spots = bent(np.array([row[2:] for row in rows], dtype=np.float64))
    return pd.DataFrame(
        {
            "FAC_NO": [f"F-{i:02d}" for i in range(1, len(rows) + 1)],
            "CLASS": [row[0] for row in rows],
            "NAME": [row[1] for row in rows],
            "geometry": shapely.points(np.round(spots, 2)),
        }
    )


# --- the truth ---------------------------------------------------------------------------------

OUTLET_TO_FLANGE_IN = {"Orrin A": 16.0, "Orrin B": 15.5, "Quern": 16.5, "Tolvey": 16.0}
KITS_IN = {
    "Orrin A": ((6, 12, 18), (0.58, 0.34, 0.08)),
    "Orrin B": ((6, 12, 18), (0.58, 0.34, 0.08)),
    "Quern": ((8, 16, 24), (0.7, 0.28, 0.02)),
    "Tolvey": ((6, 12, 18), (0.7, 0.3, 0.0)),
}
"""How far low hydrants were made to be: about a kit's length, and how often."""
MAIN_VALVE_IN = {"Orrin A": 4.5, "Orrin B": 5.25, "Quern": 5.25, "Tolvey": 5.0}


def choose(pool: pd.Series, count: int) -> NDArray[np.int64]:
    """Row labels, drawn without repeats from those where `pool` is true."""
    return np.sort(rng.choice(pool.index[pool].to_numpy(), count, replace=False))


def make_truth(hydrants: pd.DataFrame) -> pd.DataFrame:
    """Families, states and true heights; `made` says what each hydrant was made to be."""
    h = hydrants.copy()
    n = len(h)
    middle = bent(np.array([[1300.0, 1800.0]]))[0]
    h["out"] = np.hypot(h["x"] - middle[0], h["y"] - middle[1])
    h["age"] = (1964 + 0.011 * h["out"] + rng.normal(0, 6, n)).clip(1956, 2021).astype(int)
    h["FAMILY"] = np.where(h["age"] < 1990, "Orrin A", "Orrin B")
    quern = (h["x"] > middle[0] + 1500) & (rng.random(n) < 0.55)
    h.loc[quern, "FAMILY"] = "Quern"

    h["BARREL"], h["STATUS"], h["made"] = "Dry", "In service", "inside"
    wet = choose(h["out"] < 1800, 6)
    h.loc[wet, "BARREL"] = "Wet"
    retired = choose(h["BARREL"] == "Dry", 6)
    h.loc[retired, "STATUS"] = "Retired"
    h.loc[[*wet, *retired], "made"] = "not judged"
    rest = h["made"] == "inside"
    h.loc[choose(rest, 5), "STATUS"] = "Out of service"

    # Crews did not get to the edge of town, and missed a few elsewhere.
    far = rest & (h["out"] > h["out"].quantile(0.88))
    h.loc[choose(far, 27), "made"] = "unmeasured"
    h.loc[choose(h["made"] == "inside", 18), "made"] = "unmeasured"
    # Ground rose by overlays and fill in some quarters: most low ones stand there.
    hills = bent(np.array([[600.0, 900], [4300, 2600], [-1200, 1700], [1800, 4700], [3900, -1700]]))
    reach = np.array([700.0, 900, 600, 700, 700])
    apart = np.hypot(
        h["x"].to_numpy()[:, None] - hills[:, 0], h["y"].to_numpy()[:, None] - hills[:, 1]
    )
    fill = np.exp(-((apart / reach) ** 2)).sum(axis=1) + rng.normal(0, 0.28, n)
    order = pd.Series(fill, h.index)[h["made"] == "inside"].sort_values()
    h.loc[order.index[-95:], "made"] = "low"
    h.loc[order.index[:60][rng.permutation(60)[:25]], "made"] = "high"
    h.loc[choose(h["made"] == "inside", 20), "made"] = "too close to call"
    h.loc[choose(h["made"].eq("low") & (h["FAMILY"] != "Quern"), 3), "FAMILY"] = "Tolvey"
    h.loc[choose(h["made"].eq("inside") & (h["FAMILY"] != "Quern"), 2), "FAMILY"] = "Tolvey"

    # True heights. Those with no class to hit stand anywhere a hydrant stands.
    y = pd.Series(rng.normal(20.0, 3.5, n).clip(9, 30), h.index)
    is_in, is_low, is_high, is_close = (
        h["made"] == word for word in ("inside", "low", "high", "too close to call")
    )
    y[is_in] = rng.normal(20.5, 0.85, is_in.sum()).clip(LO_IN + 1.25, HI_IN - 1.25)
    for family, (lengths, chances) in KITS_IN.items():
        these = is_low & (h["FAMILY"] == family)
        after = rng.uniform(18.7, 21.4, these.sum())
        y[these] = after - rng.choice(lengths, these.sum(), p=chances)
    odd = is_low & (rng.random(n) < 0.18)
    y[odd] = LO_IN - rng.uniform(2, 14, odd.sum())
    y[is_high] = HI_IN + rng.uniform(2, 6, is_high.sum())
    limit = np.where(rng.permutation(is_close.sum()) < 12, LO_IN, HI_IN)
    y[is_close] = limit + rng.uniform(-0.18, 0.18, is_close.sum())

    h["EXT_IN"] = 0
    orrin = h["FAMILY"].isin(["Orrin A", "Orrin B"]) & (h["BARREL"] == "Dry") & (h["age"] < 2014)
    extended = [*choose(orrin & is_in, 23), *choose(orrin & is_low & y.between(12, 16), 7)]
    h.loc[extended, "EXT_IN"] = rng.choice([6, 12], len(extended), p=[0.7, 0.3])
    tall = choose(orrin & is_high, 1)
    h.loc[tall, "EXT_IN"], y[tall] = 6, 27.0

    # Three stand in a berm, deeper than any kit reaches.
    plain = is_low & (h["EXT_IN"] == 0)
    deep = [
        *choose(plain & (h["FAMILY"] == "Orrin A"), 2),
        *choose(plain & (h["FAMILY"] == "Quern"), 1),
    ]
    h["deep"] = h.index.isin(deep)
    y[deep] = [-20.9, -19.2, -12.1]

    h["true_height_in"] = y.round(2)
    reach_in = h["FAMILY"].map(OUTLET_TO_FLANGE_IN) + rng.normal(0, 0.15, n)
    h["true_flange_in"] = (h["true_height_in"] - reach_in).round(2).where(h["BARREL"] == "Dry")
    return h


# --- what the crew wrote down ------------------------------------------------------------------


def plane_at(e: Array, n: Array, z: Array) -> float:
    """Least-squares plane through shots, at the origin."""
    return float(np.linalg.lstsq(np.column_stack([np.ones_like(e), e, n]), z, rcond=None)[0][0])


def shoot_grades(read: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series]:
    """Ground shots round each hydrant read by GNSS, and the grade that they give there."""
    rows, grades = [], []
    for i, (x, y) in enumerate(zip(read["x"], read["y"], strict=True)):
        count = 5 if i == 7 else int(rng.integers(3, 6))
        turn = rng.uniform(0, 2 * np.pi) + np.arange(count) * 2 * np.pi / count
        turn += rng.uniform(-0.25, 0.25, count)
        far = rng.uniform(4.0, 9.0, count)
        e, n = far * np.cos(turn), far * np.sin(turn)
        steep, down = rng.uniform(0.01, 0.05), rng.uniform(0, 2 * np.pi)
        z = read["true_grade_ft"].iloc[i] + steep * (e * np.cos(down) + n * np.sin(down))
        z += rng.normal(0, 0.015, count)
        good = np.full(count, fill_value=True)
        if i == 7:  # the rod was read a section short
            z[2] -= 9.0
            good[2] = False
        grades.append(plane_at(e[good], n[good], z[good]))
        code = rng.choice(
            ["GND", "GRD EDGE WALK", "GND LAWN", "GRD GRAVEL"], count, p=[0.7, 0.1, 0.1, 0.1]
        )
        rows.append(pd.DataFrame({"N": y + n, "E": x + e, "Z": z, "D": code}))
    shots = pd.concat(rows, ignore_index=True).round({"N": 3, "E": 3, "Z": 3})
    shots.insert(0, "P", np.arange(2001, 2001 + len(shots)))
    return shots, pd.Series(grades, read.index)


def taped(true_in: pd.Series, sd_in: float, step_in: float) -> pd.Series:
    """Readings with noise, to the step; one that strays over 2.5 sd is read again."""
    noise = rng.normal(0, sd_in, len(true_in))
    while (stray := np.abs(noise) > 2.5 * sd_in).any():
        noise[stray] = rng.normal(0, sd_in, stray.sum())
    read_in = np.round((true_in.to_numpy() + noise) / step_in) * step_in
    return pd.Series(read_in, true_in.index)


def clear_of_limits(read_in: pd.Series, made: pd.Series) -> pd.Series:
    """Which readings stand at least 1 in on the side where their hydrant was made to be."""
    clear: pd.Series = (
        ((made == "low") & (read_in <= LO_IN - 1))
        | ((made == "high") & (read_in >= HI_IN + 1))
        | ((made == "inside") & read_in.between(LO_IN + 1, HI_IN - 1))
        | ~made.isin(["low", "high", "inside"])
    )
    return clear


def in_words(inches: pd.Series, method: pd.Series) -> pd.Series:
    """Heights as crews write them: mostly inches, some feet and inches, some broken feet."""
    plain = inches.map("{:g} in".format)
    foot, rest = inches // 12, (inches % 12).map("{:g}".format)
    spelled = foot.map("{:.0f} ft ".format) + rest + " in"
    marked = foot.map("{:.0f}'-".format) + rest + '"'
    broken = (inches / 12).round(2).map("{:g} ft".format)
    die = pd.Series(rng.random(len(inches)), inches.index)
    whole, taped_ = inches.ge(12) & (inches % 1 == 0), method == "tape"
    words = plain.where(~(taped_ & whole & (die < 0.10)), spelled)
    words = words.where(~(taped_ & whole & die.between(0.10, 0.22)), marked)
    words = words.where(~(taped_ & (inches % 3 == 0) & (die > 0.7)), broken)
    return words.where(~method.isin(["level", "eye"]), broken)


COLUMNS = ["HYDRANT", "DATE", "METHOD", "MEASURED_TO", "MEASURED_FROM", "HEIGHT", "FLANGE",
           "OUTLET_ELEV_FT", "DATUM", "OBSERVER", "NOTE"]  # fmt: skip


def crew_lists(h: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The season's readings and grade shots, with the rows that a real list holds."""
    made = h["made"]
    seen = ~made.isin(["unmeasured", "not judged"])
    seen[choose(made == "not judged", 6)] = True
    r = h[seen].copy()
    r["METHOD"] = "tape"
    free = r["made"].isin(["low", "high"]) & ~r["deep"] & (r["EXT_IN"] == 0)
    far_off = (r["true_height_in"] <= LO_IN - 4) | (r["true_height_in"] >= HI_IN + 4)
    gnss = [
        *choose(free & far_off & (r["made"] == "low"), 19),
        *choose(free & far_off & (r["made"] == "high"), 6),
    ]
    r.loc[gnss, "METHOD"] = "gnss"
    left = free & (r["METHOD"] == "tape")
    by_eye = [*choose(left & (r["made"] == "low"), 3), *choose(left & (r["made"] == "high"), 2)]
    r.loc[by_eye, "METHOD"] = "eye"
    r.loc[
        choose((r["METHOD"] == "tape") & ~r["made"].eq("too close to call") & ~r["deep"], 24),
        "METHOD",
    ] = "level"
    # Near a limit the eye can tell nothing: these must come out as unresolved.
    near = choose((r["METHOD"] == "tape") & r["made"].eq("too close to call"), 4)
    r.loc[near, "METHOD"] = "eye"
    # The others told by eye must be plain: their truth is set once more.
    told = r["METHOD"] == "eye"
    h.loc[by_eye, "true_height_in"] = [10.0, 10.5, 9.6, 31.8, 32.1]
    h.loc[by_eye, "true_flange_in"] = h.loc[by_eye, "true_height_in"] - h.loc[by_eye, "FAMILY"].map(
        OUTLET_TO_FLANGE_IN
    )
    r["true_height_in"], r["true_flange_in"] = h["true_height_in"], h["true_flange_in"]

    height = r["true_height_in"].copy()
    again = r["METHOD"].isin(["tape", "level"])
    while again.any():  # a crew that doubts a height reads it again
        for method, sd_in, step_in in (("tape", 0.25, 0.25), ("level", 0.3, 0.12)):
            these = again & (r["METHOD"] == method)
            height[these] = taped(r.loc[these, "true_height_in"], sd_in, step_in).round(2)
        again &= ~clear_of_limits(height, r["made"])
    height[told] = (r.loc[told, "true_height_in"] / 6).round() * 6

    r["true_grade_ft"] = 4680 + 0.011 * (r["y"] - NORTH_FT) + 22 * np.sin((r["x"] - EAST_FT) / 2100)
    by_gnss = r["METHOD"] == "gnss"
    shots, grade = shoot_grades(r[by_gnss])
    elev = r["true_grade_ft"] + r["true_height_in"] / 12
    elev = (elev + pd.Series(rng.normal(0, 0.07, len(r)).clip(-0.16, 0.16), r.index)).round(3)
    height[by_gnss] = (elev[by_gnss] - grade) * 12
    if not clear_of_limits(height, r["made"]).all():
        msg = "a reading stands on the wrong side of a limit"
        raise ValueError(msg)

    flange = taped(r["true_flange_in"].fillna(0), 0.25, 0.25)
    buried = r["true_flange_in"] < -2
    no_flange = (
        r["true_flange_in"].isna() | told | (rng.random(len(r)) < np.where(buried, 0.2, 0.08))
    )
    season = pd.Timestamp("2026-04-13")
    day = (r["street"] * 1.35 + rng.integers(0, 6, len(r))).astype(int)
    out = pd.DataFrame(
        {
            "HYDRANT": r["HYD_NO"],
            "DATE": season + pd.to_timedelta(day, unit="D"),
            "METHOD": r["METHOD"],
            "MEASURED_TO": "pumper-centerline",
            "MEASURED_FROM": "grade",
            "HEIGHT": in_words(height, r["METHOD"]).mask(by_gnss),
            "FLANGE": flange.map("{:g} in".format).mask(no_flange),
            "OUTLET_ELEV_FT": elev.map("{:.3f}".format).where(by_gnss),
            "DATUM": pd.Series("NAVD88", r.index).where(by_gnss),
            "OBSERVER": rng.choice(["R.H.", "M.O.", "K. Tarn", "B.W."], len(r)),
            "NOTE": pd.Series("dug out of the berm", r.index).where(r["deep"]),
        }
    )
    out.loc[told, "NOTE"] = "from the truck, to the half foot"
    out.loc[by_gnss, "OBSERVER"] = "survey party"

    # Rows that stand beside the season's own.
    plain = out["METHOD"].eq("tape") & ~r["deep"] & (r["EXT_IN"] == 0)
    pair = choose(plain & r["made"].eq("low") & height.between(9, 14), 1)
    first, second = out.loc[pair].copy(), out.loc[pair].copy()
    low_end = float((r.loc[pair, "true_height_in"].iloc[0] * 4) // 1 / 4) - 0.5
    first["HEIGHT"], second["HEIGHT"] = f"{low_end:g} in", f"{low_end + 1.5:g} in"
    second["OBSERVER"] = "K. Tarn" if first["OBSERVER"].iloc[0] != "K. Tarn" else "M.O."
    second["NOTE"] = "read again, other side of the hydrant"
    out = pd.concat([out.drop(pair), first])
    plain = plain.drop(pair)
    old = out.loc[
        [*choose(plain & r["made"].eq("low"), 4), *choose(plain & r["made"].eq("inside"), 2),
         *choose(plain & r["made"].eq("high"), 1)]
    ].copy()  # fmt: skip
    old["DATE"] -= pd.to_timedelta(rng.integers(1400, 2200, len(old)), unit="D")
    old["HEIGHT"] = ["20.25 in", "19.5 in", "21 in", "1'-8\"", "15.5 in", "26.25 in", "22 in"]
    old["FLANGE"], old["OBSERVER"], old["NOTE"] = None, "P.E.", "from the old book"
    repeated = out.loc[
        choose(
            plain.reindex(out.index, fill_value=False) & r["made"].eq("inside").reindex(out.index),
            1,
        )
    ]
    unread = h.loc[choose(made.eq("unmeasured"), 1), "HYD_NO"].iloc[0]
    strays = out.iloc[[3, 5]].copy()
    strays["HYDRANT"], strays["HEIGHT"] = [unread, "T-9999"], ["999 in", "20.5 in"]
    strays["METHOD"], strays["FLANGE"], strays["NOTE"] = "tape", None, ["could not find it", None]
    strays["OBSERVER"] = "B.W."
    strays["OUTLET_ELEV_FT"], strays["DATUM"] = None, None
    full = pd.concat([out, second, old, repeated, strays])[COLUMNS]
    full = full.sort_values(["DATE", "HYDRANT"], kind="stable")
    full["DATE"] = full["DATE"].dt.strftime("%Y-%m-%d")
    return full, shots


# --- files -------------------------------------------------------------------------------------


def finish_hydrants(h: pd.DataFrame) -> pd.DataFrame:
    """The hydrant layer as the district keeps it."""
    n = len(h)
    day = pd.to_datetime(h["age"].astype(str) + "-04-01") + pd.to_timedelta(
        rng.integers(0, 200, n), unit="D"
    )
    bury = rng.choice([5.0, 5.5, 6.0, 6.5], n, p=[0.15, 0.35, 0.35, 0.15])
    flow = rng.gamma(7, 185, n).clip(240, 2600) // 10 * 10
    notes = pd.Series(None, h.index, dtype="object")
    notes[choose(h["STATUS"] == "Out of service", 2)] = [
        "main valve does not close",
        "struck, on order",
    ]
    awkward = [
        "owner's gate is locked, ring first",
        "<b>cap chain missing</b>",
        "old form left `${x}` here",
        "beside the café's side door",
        "=1+1 caps painted",
        '5" stub, see sheet; 2 of 3',
    ]
    notes[choose(notes.isna() & (h["STATUS"] == "In service"), len(awkward))] = awkward
    return pd.DataFrame(
        {
            "HYD_NO": h["HYD_NO"],
            "ADDRESS": h["ADDRESS"],
            "FAMILY": h["FAMILY"],
            "BARREL": h["BARREL"],
            "STATUS": h["STATUS"],
            "OWNER": np.where(rng.random(n) < 0.03, "Private", "Tesselbrook Water District"),
            "HOSE_DIA": 2.5,
            "PUMPER_DIA": 4.5,
            "VALVE_DIA": h["FAMILY"].map(MAIN_VALVE_IN),
            "BURY_FT": pd.Series(bury, h.index).mask(rng.random(n) < 0.04),
            "EXT_IN": h["EXT_IN"],
            "INSTALLED": pd.Series(day.dt.date, h.index).mask(rng.random(n) < 0.05),
            "GPM": pd.Series(flow, h.index).mask(rng.random(n) < 0.12),
            "NOTES": notes,
            "geometry": shapely.points(h[["x", "y"]]),
        }
    )  # fmt: skip


def write_layer(path: Path, layer: str, frame: pd.DataFrame, geometry_type: str) -> None:
    """One layer of the GeoPackage, with the types that its columns need."""
    fields = {
        name: (
            pa.array(shapely.to_wkb(frame[name].to_numpy()), pa.binary())
            if name == "geometry"
            else pa.array(frame[name], from_pandas=True)
        )
        for name in frame
    }
    pyogrio.write_arrow(
        pa.table(fields), path, layer=layer, driver="GPKG", geometry_name="geometry",
        geometry_type=geometry_type, crs=CRS,
    )  # fmt: skip


def write_csv(name: str, frame: pd.DataFrame) -> None:
    """One table of text, the same line ends on every system."""
    frame.to_csv(HERE / name, index=False, encoding="utf-8", lineterminator="\n")


def main() -> None:
    """Make everything and write it."""
    town = streets()
    stands = stand_hydrants(town)
    stands["x"], stands["y"] = stands["x"].round(2), stands["y"].round(2)
    stands["HYD_NO"] = [f"T-{i:04d}" for i in range(1, len(stands) + 1)]
    mains = lay_mains(town)
    hydrants = make_truth(stands)
    readings, shots = crew_lists(hydrants)
    layer = finish_hydrants(hydrants)
    beyond = hydrants["x"].nlargest(3).index
    areas = draw_areas(town, hydrants.drop(beyond)[["x", "y"]].to_numpy())
    covered = shapely.intersects(
        shapely.union_all(areas["geometry"].to_numpy()), layer["geometry"].to_numpy()
    )
    if set(layer.index[~covered]) != set(beyond):
        msg = f"outside every area: {layer.loc[~covered, 'HYD_NO'].tolist()}"
        raise ValueError(msg)

    # The writer stamps each layer with the time; this keeps the bytes the same.
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-09-30T00:00:00.000Z"})
    package = HERE / "district.gpkg"
    package.unlink(missing_ok=True)
    write_layer(package, "hydrants", layer, "Point")
    write_layer(package, "service_areas", areas, "MultiPolygon")
    write_layer(package, "valves", place_valves(stands, town, mains), "Point")
    write_layer(package, "mains", mains, "LineString")
    write_layer(package, "facilities", found_facilities(), "Point")
    write_layer(package, "streets", draw_centerlines(town), "LineString")
    write_csv("readings_2026.csv", readings)
    write_csv("shots_2026.csv", shots)
    truth = hydrants.rename(columns={"HYD_NO": "hydrant_id"})
    write_csv("truth.csv", truth[["hydrant_id", "made", "true_height_in", "true_flange_in"]])
    print(f"{len(layer)} hydrants, {len(readings)} readings, {len(shots)} shots")
    print(truth["made"].value_counts().to_string())


if __name__ == "__main__":
    main()
