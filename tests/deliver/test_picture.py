"""The static picture."""

from __future__ import annotations

import io

import geopandas as gpd
import matplotlib.colors
import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from pyproj import Geod

from hydrantgis.deliver.looks import LOOKS, MapWords
from hydrantgis.deliver.picture import picture
from hydrantgis.ground.errors import CRSError
from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.tables import AREAS

WORDS = MapWords(
    title="Tesselbrook",
    rule="Outlet center 18 to 36 in above final grade",
    citation="House rule 7",
    data_date="2026-08-18",
)


def hydrants(verdicts, x, y, crs=3736):
    return gpd.GeoDataFrame(
        {
            "hydrant_id": [f"H{i}" for i in range(len(verdicts))],
            "verdict": pd.Series(verdicts, dtype="object"),
        },
        geometry=gpd.points_from_xy(x, y),
        crs=crs,
    )


def district():
    checked = hydrants(
        ["inside", "inside", "low", "high", None, "unmeasured", "unresolved", "low"],
        np.linspace(1_300_000, 1_309_000, 8),
        np.linspace(250_000, 256_000, 8),
    )
    checked.loc[7, "geometry"] = None
    return checked


def drawn(figure: Figure) -> bytes:
    target = io.BytesIO()
    figure.savefig(target, format="png", dpi=50)
    return target.getvalue()


def texts(figure: Figure) -> list[str]:
    ax = figure.axes[0]
    return [t.get_text() for t in ax.texts] + [ax.get_title(loc="left")]


def legend(figure: Figure) -> list[str]:
    return [t.get_text() for t in figure.axes[0].get_legend().get_texts()]


def test_marks_counts_and_words():
    figure = picture(district(), words=WORDS)
    ax = figure.axes[0]
    marks = [c for c in ax.collections if isinstance(c, PathCollection)]
    by_color = {matplotlib.colors.to_hex(m.get_facecolor()[0]): len(m.get_offsets()) for m in marks}
    assert by_color == {
        look.fill: number for look, number in zip(LOOKS, (2, 1, 1, 1, 1, 1), strict=True)
    }
    assert legend(figure) == [
        "Inside  2", "Low  2", "High  1", "Unresolved  1", "Unmeasured  1", "Not judged  1",
        "of these, no location  1",
    ]  # fmt: skip
    written = " ".join(" ".join(texts(figure)).split())
    for text in ("Tesselbrook", WORDS.rule, WORDS.citation, "2026-08-18", "2 of 6 measured are"):
        assert text in written
    assert "N" in texts(figure)
    assert len(drawn(figure)) > 5_000


@pytest.mark.parametrize("crs", [3736, 32613, 4326, 3857])
def test_the_scale_bar_is_true(crs):
    checked = district().to_crs(crs)
    figure = picture(checked, words=WORDS)
    ax = figure.axes[0]
    blocks = [p for p in ax.patches if isinstance(p, Rectangle)]
    left = min(p.get_x() for p in blocks)
    right = max(p.get_x() + p.get_width() for p in blocks)
    label = next(t for t in texts(figure) if t.endswith(" ft"))
    told_ft = float(label.removesuffix(" ft").replace(",", ""))
    own = {3736: 3736, 32613: 32613}.get(crs, 32613)
    y = blocks[0].get_y()
    ends = gpd.GeoSeries(gpd.points_from_xy([left, right], [y, y]), crs=own).to_crs(4326)
    _, _, metres = Geod(ellps="WGS84").inv(ends.x[0], ends.y[0], ends.x[1], ends.y[1])
    # A projected length differs from the one on the ground by the projection's scale factor.
    assert metres / 0.3048 == pytest.approx(told_ft, rel=1e-3)
    assert ax.get_aspect() == 1


def test_everything_lies_within_the_frame_and_serious_verdicts_on_top():
    checked = district()
    ax = picture(checked, words=WORDS).axes[0]
    x0, y0, x1, y1 = checked.total_bounds
    assert ax.get_xlim()[0] < x0 < x1 < ax.get_xlim()[1]
    assert ax.get_ylim()[0] < y0 < y1 < ax.get_ylim()[1]
    marks = [c for c in ax.collections if isinstance(c, PathCollection)]
    top = {matplotlib.colors.to_hex(m.get_facecolor()[0]) for m in marks[-2:]}
    assert top == {k.fill for k in LOOKS if k.value in ("low", "high")}


def test_areas_and_lines_are_context():
    areas = gpd.GeoDataFrame(
        {"area_id": ["A", "B", "C"], "area_title": ["Mill Flats", None, "Gone"]},
        geometry=[
            shapely.box(1_299_000, 249_000, 1_305_000, 257_000),
            shapely.box(1_305_000, 249_000, 1_310_000, 257_000),
            None,
        ],
        crs=3736,
    ).to_crs(4326)
    lines = gpd.GeoDataFrame(
        geometry=[shapely.LineString([(1_300_000, 250_000), (1_309_000, 250_000)]), None], crs=3736
    )
    figure = picture(district(), words=WORDS, areas=areas, lines=lines)
    assert {"Mill Flats", "B"} < set(texts(figure))
    assert "Gone" not in texts(figure)
    assert figure.axes[0].get_xlabel() == ""


def test_a_notebook_shows_it():
    assert picture(district(), words=WORDS)._repr_png_().startswith(b"\x89PNG")


def test_given_axes_are_used():
    figure = Figure(figsize=(10, 5))
    axes = figure.subplots(1, 2)
    assert picture(district(), words=WORDS, ax=axes[1]) is figure
    assert axes[1].get_legend() is not None
    assert axes[0].get_legend() is None


@pytest.mark.parametrize(
    "text", ["$x_{$", r"C:\data\20190221", "\u05e9\u05dc\u05d5\u05dd", "\u6c34 main\n2", "</svg>"]
)
def test_text_from_data_is_written_as_it_is(text):
    areas = gpd.GeoDataFrame(
        {"area_id": ["A"], "area_title": [text]},
        geometry=[shapely.box(1_299_000, 249_000, 1_310_000, 257_000)],
        crs=3736,
    )
    words = MapWords(title=text, rule=text, citation=text, data_date=text)
    figure = picture(district(), words=words, areas=areas)
    # A sign that the font lacks is an empty box; a picture has no other way to show it.
    expected = " ".join(text.replace("\u6c34", "\u25a1").split())
    assert figure.axes[0].get_title(loc="left") == expected
    assert expected in texts(figure)
    assert drawn(figure).startswith(b"\x89PNG")


def test_no_hydrants_and_none_with_a_location():
    empty = picture(CHECKED.empty(crs=3736), words=WORDS, areas=AREAS.empty(crs=3736))
    assert "No hydrants" in texts(empty)
    assert drawn(empty)
    nowhere = hydrants(["low"], [0.0], [0.0], crs=4326)
    nowhere.loc[0, "geometry"] = None
    figure = picture(nowhere, words=WORDS)
    assert "No hydrant has a location" in texts(figure)
    assert legend(figure)[-1] == "of these, no location  1"
    assert drawn(figure)


def test_one_hydrant_stands_in_the_middle_of_a_street_or_two():
    figure = picture(hydrants(["low"], [1_300_000.0], [250_000.0]), words=WORDS)
    low, high = figure.axes[0].get_xlim()
    assert (low + high) / 2 == pytest.approx(1_300_000)
    assert high - low >= 500
    assert drawn(figure)


def test_the_same_input_gives_the_same_picture():
    assert drawn(picture(district(), words=WORDS)) == drawn(picture(district(), words=WORDS))


def test_no_reference_system_is_told():
    with pytest.raises(CRSError):
        picture(hydrants(["low"], [0.0], [0.0], crs=None), words=WORDS)
