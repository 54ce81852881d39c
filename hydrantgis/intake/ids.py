"""
Ids: which rows have none, which share one, and which hydrants stand in one place.

Ids are text; nothing here makes `0012` and `12` the same. What cannot be decided is held.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyproj
import shapely
from scipy.spatial import cKDTree

from hydrantgis.ground.findings import findings
from hydrantgis.ground.plane import SAME_PLACE_FT, on_plane_ft, xy
from hydrantgis.ground.tables import HYDRANTS, SHOTS
from hydrantgis.ground.text import fill
from hydrantgis.intake.match import made_by_program, plain, score

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hydrantgis.intake.ledger import Ledger

PLACEHOLDERS = frozenset(
    (
        "", "0", "n_a", "na", "none", "null", "nan", "unknown", "unk", "tbd", "tba", "temp", "test",
        "new", "no_id", "noid", "missing", "blank", "x", "xx", "xxx", "xxxx", "no_number", "no_tag",
        "not_assigned", "unassigned", "pending", "sin_numero", "s_n", "sans", "ohne", "geen",
        "total", "totals", "sum", "subtotal", "grand_total", "count",
    )
)  # fmt: skip
"""What people write, made plain, where a hydrant has no number yet, or under the last one."""
_BY_ID = frozenset(("id-missing", "id-placeholder", "id-in-two-places", "id-repeated"))
_MANY, _LIKELY = 0.1, 0.8
"""Put aside for their ids, from which on another field is looked for; and the least score of it."""
_FEW, _SHARE = 20, 0.005
"""An id at more rows than both of these is nobody's: 20 rows, and one in two hundred."""


def placeholder_ids(ids: pd.Series, said: tuple[str, ...] = ()) -> pd.Series:
    """
    Which ids stand for none.

    Parameters
    ----------
    ids
        Text; missing ones are not placeholders.
    said
        More of them, as the user names them.

    Examples
    --------
    >>> placeholder_ids(pd.Series(["0012", "TBD", "000", "9999", None])).tolist()
    [False, True, True, True, False]
    """
    again = ids[ids.duplicated(keep=False)].value_counts()
    crowded = set(again.index[again > max(_FEW, _SHARE * len(ids))])
    numbers = ids.str.fullmatch(r"(?:0+|9{4,}|-9{2,})(?:\.0+)?", na=False)
    nines = ids[numbers & ids.str.fullmatch("9{4,15}", na=False)].unique()
    # a system that counts past it has such a hydrant
    counted = [i for i in nines if ids.isin([str(int(i) - 1), str(int(i) + 1)]).sum() > 1]
    numbers &= ~ids.isin(counted)
    bare = ids[~ids.str.contains(r"[1-9]", na=True)].unique()  # few: most ids hold a number
    spelled = [cell for cell in bare if plain(cell) in PLACEHOLDERS]
    return numbers | ids.isin({*crowded, *spelled, *said})


def alike_ids(ids: pd.Series) -> pd.Series:
    """
    Another id that differs only by zeros round it, letter case, blanks or marks; missing elsewhere.

    A letter that a machine can write in several ways is one letter.

    Examples
    --------
    >>> alike_ids(pd.Series(["0012", "12.0", "H-7", "h 7", "8"])).tolist()
    ['12.0', '0012', 'h 7', 'H-7', nan]
    """
    whole = pc.utf8_normalize(pa.array(ids, pa.string(), from_pandas=True), "NFKC")
    lower = pc.utf8_lower(whole)
    lower = pc.replace_substring_regex(lower, r"^([0-9]+)\.0+$", r"\1")  # what a number became
    bare = pc.replace_substring_regex(lower, r"[\x00-\x2f\x3a-\x60\x7b-\x7f]+", "")
    bare = pc.replace_substring_regex(bare, r"(^|[^0-9])0+([0-9])", r"\1\2")
    spelled = bare.to_pandas().set_axis(ids.index)
    near = spelled.duplicated(keep=False) & spelled.notna() & (spelled != "")
    if not near.any():
        return pd.Series(None, index=ids.index, dtype="str")
    pairs = pd.DataFrame({"id": ids[near], "bare": spelled[near]}).drop_duplicates("id")
    twins = pairs[pairs.duplicated("bare", keep=False)]
    groups = twins.groupby("bare")["id"]
    first, last = groups.transform("first"), groups.transform("last")
    other = first.where(first != twins["id"], last)
    return (
        ids.map(dict(zip(twins["id"], other, strict=True)))
        .astype("str")
        .where(ids.isin(twins["id"]))
    )


def sort_out_ids(
    frame: pd.DataFrame,
    shapes: gpd.GeoSeries | None,
    ledger: Ledger,
    *,
    placeholders: tuple[str, ...] = (),
    same_place_ft: float | None = None,
) -> None:
    """
    Hold rows without an id of their own, and hydrants in one place; reject a row told twice.

    Parameters
    ----------
    frame
        Canonical rows.
    shapes
        Their shapes, in a CRS.
    ledger
        Told of each.
    placeholders
        More of `PLACEHOLDERS`.
    same_place_ft
        `SAME_PLACE_FT` where it is None; 0 holds none. [ft]
    """
    key, table = ledger.table.key, ledger.table
    ledger.put_aside(frame[key].isna(), "held", "id-missing", f"no `{key}`")
    if table is not SHOTS:  # a survey numbers its points as it likes
        nobody = placeholder_ids(frame[key], placeholders)
        ledger.put_aside(nobody, "held", "id-placeholder", f"`{key}` stands for none")
    ledger.put_aside(
        _told_again(frame, key, shapes),
        "rejected",
        "row-repeated",
        "the same row, in all that is brought in, stands further up",
    )
    left = ledger.outcome == "accepted"
    shared = frame[key].where(left).duplicated(keep=False) & left & frame[key].notna()
    reach = SAME_PLACE_FT if same_place_ft is None else same_place_ft
    if shared.any():
        apart = _apart_ft(frame[key][shared], shapes).reindex(frame.index)
        far = shared & (apart > max(reach, SAME_PLACE_FT))
        ledger.put_aside_with(
            far, "held", "id-in-two-places",
            fill("this id stands at places {d} ft apart", d=apart[far].to_numpy()),
        )  # fmt: skip
        ledger.put_aside(
            shared & ~far, "held", "id-repeated", "this id stands at rows that differ, in one place"
        )
    if table is HYDRANTS and shapes is not None and reach > 0:
        _hold_crowded(frame, shapes, ledger, reach)
    if table is SHOTS:
        return
    alike = alike_ids(frame[key].where(ledger.outcome == "accepted"))
    rows = alike.notna()
    ledger.notes.append(
        findings(
            "id-alike", table=table.name, keys=frame.index[rows], column=key,
            values=frame[key][rows], messages=fill("as good as `{o}`", o=alike[rows].to_numpy()),
        )
    )  # fmt: skip


def note_other_ids(cells: pd.DataFrame, chosen: str | None, ledger: Ledger) -> None:
    """
    Tell a field that has an id of its own for every row, where that of the ids put many aside.

    Parameters
    ----------
    cells
        Rows as the source has them.
    chosen
        The field that the ids are from.
    ledger
        In which the rows are settled.
    """
    key = ledger.table.key
    if not len(cells) or ledger.code.isin(_BY_ID).mean() < _MANY:
        return
    own = [
        str(name) for name in cells
        if name != chosen and made_by_program(str(name)) is None
        and score(str(name), key)[0] >= _LIKELY and cells[name].notna().all()
        and cells[name].is_unique
    ]  # fmt: skip
    ledger.notes.append(
        findings(
            "id-in-other-field", table=ledger.table.name, keys=["(all)"] * len(own), column=key,
            values=own,
            messages=fill("`{n}` has another id in every row: --field {k}={n}", n=own, k=key),
        )
    )  # fmt: skip


def _told_again(frame: pd.DataFrame, key: str, shapes: gpd.GeoSeries | None) -> pd.Series:
    """Rows that stand further up, the same in all that is brought in."""
    again = pd.Series(False, index=frame.index)
    twice = frame[key].duplicated(keep=False) & frame[key].notna()
    if twice.any():
        whole = pd.DataFrame(frame[twice])
        if shapes is not None:
            whole = whole.assign(_shape=gpd.GeoSeries(shapes[twice]).to_wkb())
        again[twice] = whole.duplicated(keep="first")
    return again


def _apart_ft(ids: pd.Series, shapes: gpd.GeoSeries | None) -> pd.Series:
    """How far apart the rows of each id lie, as the diagonal round them; 0 without places. [ft]"""
    if shapes is None:
        return pd.Series(0.0, index=ids.index)
    here = _plane(gpd.GeoSeries(shapes[ids.index]))
    where = pd.DataFrame({"x": here[:, 0], "y": here[:, 1], "id": ids.to_numpy()}, index=ids.index)
    groups = where.groupby("id")[["x", "y"]]
    span = groups.transform("max") - groups.transform("min")
    return pd.Series(np.hypot(span["x"], span["y"]), index=ids.index).fillna(0.0)


def _plane(shapes: gpd.GeoSeries) -> NDArray[np.float64]:
    """Where the shapes lie on a plane that measures true, shape (n, 2). [ft]"""
    centers = (
        shapes if shapes.geom_type.isin(["Point", None]).all() else shapes.representative_point()
    )
    return on_plane_ft(xy(centers), pyproj.CRS(shapes.crs))


def _hold_crowded(
    frame: pd.DataFrame, shapes: gpd.GeoSeries, ledger: Ledger, reach_ft: float
) -> None:
    """Hold hydrants of different ids in one place: one of them is not there."""
    left = (ledger.outcome == "accepted") & ~shapely.is_missing(shapes.to_numpy())
    rows = frame.index[left]
    if len(rows) < 2:
        return
    points = _plane(gpd.GeoSeries(shapes[rows]))
    # many hydrants at exactly one point would make a pair each with each
    both = points[:, 0] + 1j * points[:, 1]  # one number a point sorts far faster than two
    spots, which, many = np.unique(both, return_inverse=True, return_counts=True)
    other = np.full(len(rows), -1)
    distance = np.full(len(rows), np.nan)
    order = np.argsort(which, kind="stable")
    starts = np.concatenate(([0], np.cumsum(many)[:-1]))
    crowded = many[which] > 1
    first, second = order[starts[which]], order[np.minimum(starts[which] + 1, len(rows) - 1)]
    mine = np.arange(len(rows))
    other[crowded] = np.where(first == mine, second, first)[crowded]
    distance[crowded] = 0.0
    flat = np.column_stack((spots.real, spots.imag))
    # the nearest other spot of each: pairs within reach would be without bound where all lie close
    nearest = cKDTree(flat, balanced_tree=False).query(
        flat, k=[2], distance_upper_bound=np.nextafter(reach_ft, np.inf), workers=-1
    )
    gap, partner = np.ravel(nearest[0]), np.ravel(nearest[1])
    near = np.isfinite(gap)[which] & ~crowded
    other[near] = order[starts[partner[which[near]]]]
    distance[near] = gap[which[near]]
    held = other >= 0
    names = frame[ledger.table.key].loc[rows].to_numpy(dtype=object)
    mask = pd.Series(False, index=frame.index)
    mask[rows[held]] = True
    ledger.put_aside_with(
        mask, "held", "ids-in-one-place",
        fill("`{o}` stands {d} ft away", o=names[other[held]], d=distance[held]),
    )  # fmt: skip
