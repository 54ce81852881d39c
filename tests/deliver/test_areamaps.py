"""Area maps for print."""

from __future__ import annotations

import itertools
import re
import subprocess
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from pyproj import Geod

from hydrantgis.deliver.areafiles import area_file_name, save_area_maps
from hydrantgis.deliver.areamaps import AreaWords, area_sheets
from hydrantgis.deliver.looks import MapWords
from hydrantgis.ground.errors import CRSError

WORDS = MapWords(
    title="Tesselbrook",
    rule="Outlet center 18 to 24 in above final grade",
    citation="House rule 7",
    data_date="2026-08-18",
    cautions=("The maker's instructions govern.", "Have utilities located."),
)
MORE = AreaWords(season="Season 2027", sources=("district.gpkg (hydrants)",))
X0, Y0, SIDE = 1_300_000.0, 250_000.0, 4_000.0
ROW = re.compile(r"^\s*(\d+) +(\S+) +([\d.\u2013]+) ?→ ?(\S+) +(\S+)$", re.MULTILINE)


def hydrants(area_ids, verdicts=None, crs=3736, seed=1):
    lots = np.random.default_rng(seed)
    count = len(area_ids)
    return gpd.GeoDataFrame(
        {
            "hydrant_id": [f"H-{k:03d}" for k in range(count)],
            "area_id": pd.Series(area_ids, dtype="object"),
            "verdict": pd.Series(verdicts or ["low"] * count, dtype="object"),
        },
        geometry=gpd.points_from_xy(
            X0 + lots.uniform(0, SIDE, count), Y0 + lots.uniform(0, SIDE, count)
        ),
        crs=3736,
    ).to_crs(crs)


def jobs_of(checked, count, **told):
    lots = np.random.default_rng(7)
    first = checked.head(count)
    each = {
        "number": pd.array(first.groupby("area_id", dropna=False).cumcount() + 1, dtype="Int64"),
        "hydrant_id": first["hydrant_id"], "area_id": first["area_id"],
        "address": [f"{k} Mill Road" for k in range(count)], "work": "extend 6 in, kit K-6",
        "outlet_height_in": lots.uniform(8, 16, count).round(2),
        "outlet_height_after_in": lots.uniform(18, 24, count).round(2),
        "work_date": pd.Series(pd.date_range("2027-04-13", periods=count)).array,
    }  # fmt: skip
    return pd.DataFrame({**each, **told})


def areas(*ids, titles=None, crs=3736):
    return gpd.GeoDataFrame(
        {"area_id": list(ids), "area_title": titles or [f"Title of {i}" for i in ids]},
        geometry=[shapely.box(X0, Y0, X0 + SIDE, Y0 + SIDE) for _ in ids], crs=3736,
    ).to_crs(crs)  # fmt: skip


def streets(names):
    return gpd.GeoDataFrame(
        {"street_id": [f"S{k}" for k in range(len(names))], "street_title": names},
        geometry=[
            shapely.LineString([(X0, Y0 + 150 + 300 * k), (X0 + SIDE, Y0 + 150 + 300 * k)])
            for k in range(len(names))
        ],
        crs=3736,
    )


def sheets(checked, jobs, **layers):
    return list(area_sheets(checked, jobs, words=WORDS, more=MORE, **layers))


def texts(figure) -> list[str]:
    return [t.get_text() for t in figure.findobj(Text) if t.get_text() and t.get_visible()]


def map_of(figure):
    return next((ax for ax in figure.axes if ax.axison), None)


def numbers(figure):
    if map_of(figure) is None:
        return []
    return [t for t in map_of(figure).texts if t.get_text().isdigit() and t.get_zorder() == 12]


def pdf_text(path: Path, page: int | None = None, *, listed: bool = False) -> str:
    words = ["pdftotext", "-layout"]
    if page is not None:
        words += ["-f", str(page), "-l", str(page)]
    if listed:
        words += ["-x", "528", "-y", "60", "-W", "264", "-H", "440"]
    return subprocess.run([*words, path, "-"], capture_output=True, check=True, text=True).stdout


def test_each_job_is_listed_once_with_its_figures(tmp_path):
    checked = hydrants(["A", "B"] * 15)
    jobs = jobs_of(checked, 30)
    paths = save_area_maps(sheets(checked, jobs, areas=areas("A", "B")), tmp_path, title="T")
    assert [path.name for path in paths] == ["areas.pdf", "area_A.png", "area_B.png"]
    for page, area in enumerate("AB", 1):
        rows = ROW.findall(pdf_text(paths[0], page, listed=True))
        of = jobs[jobs["area_id"] == area]
        assert rows == [
            (str(k + 1), job["hydrant_id"], f"{job['outlet_height_in']:g}",
             f"{job['outlet_height_after_in']:g}", str(job["work_date"])[:10])
            for k, job in enumerate(of.to_dict("records"))
        ]  # fmt: skip
        text = pdf_text(paths[0], page)
        for told in (
            f"Title of {area} ({area})", "Season 2027: 15 jobs at 15 hydrants", WORDS.rule,
            "House rule 7", "2026-08-18", *WORDS.cautions, "district.gpkg (hydrants)",
            "0 of 15 measured are inside", "page 1 of 1", "extend 6 in, kit K-6",
        ):  # fmt: skip
            assert told in text


def test_each_number_on_the_map_stands_nearest_to_its_own_hydrant():
    checked = hydrants(["A"] * 12)
    jobs = jobs_of(checked, 12)
    (sheet,) = sheets(checked, jobs, areas=areas("A"))
    found = numbers(sheet.pages[0])
    assert [t.get_text() for t in found] == [str(k) for k in range(1, 13)]
    at = np.array([t.get_position() for t in found])
    own = np.column_stack([checked.geometry.x, checked.geometry.y])
    apart = np.hypot(*(at[:, None, :] - own[None, :, :]).transpose(2, 0, 1))
    assert (apart.argmin(axis=1) == np.arange(12)).all()


@pytest.mark.parametrize("crs", [3736, 32613, 4326, 3857])
def test_scale_bar_and_scale_are_true(crs):
    checked = hydrants(["A"] * 4, crs=crs)
    (sheet,) = sheets(checked, jobs_of(checked, 1), areas=areas("A", crs=crs))
    ax = map_of(sheet.pages[0])
    blocks = [
        p for p in ax.patches
        if isinstance(p, Rectangle) and p.get_transform() != ax.transAxes and p.get_zorder() == 20
    ]  # fmt: skip
    assert len(blocks) == 4
    ends = [min(p.get_x() for p in blocks), max(p.get_x() + p.get_width() for p in blocks)]
    y = blocks[0].get_y()
    own = {3736: 3736}.get(crs, 32613)

    def feet(x0, x1):
        line = gpd.GeoSeries(gpd.points_from_xy([x0, x1], [y, y]), crs=own).to_crs(4326)
        metres = Geod(ellps="WGS84").inv(line.x[0], line.y[0], line.x[1], line.y[1])[2]
        return metres / 0.3048

    label = next(t for t in texts(sheet.pages[0]) if re.fullmatch(r"[\d,]+ ft", t))
    assert feet(*ends) == pytest.approx(float(label[:-3].replace(",", "")), rel=1e-3)
    wide_in = ax.get_position().width * 11
    told = next(t for t in texts(sheet.pages[0]) if t.startswith("1 in = "))
    scale = float(told.removeprefix("1 in = ").split(" ft")[0].replace(",", ""))
    assert feet(*ax.get_xlim()) / wide_in == pytest.approx(scale, rel=1e-3)
    assert ax.get_aspect() == 1


def test_all_of_the_area_lies_within_the_frame_and_marks_are_of_its_hydrants_alone():
    checked = hydrants(["A", "A", "B", "A"], ["inside", "low", "high", None])
    outline = areas("A", "B")
    first, second = sheets(checked, jobs_of(checked, 0), areas=outline)
    x0, y0, x1, y1 = outline.total_bounds
    ax = map_of(first.pages[0])
    assert ax.get_xlim()[0] < x0 < x1 < ax.get_xlim()[1]
    assert ax.get_ylim()[0] < y0 < y1 < ax.get_ylim()[1]
    assert {"Inside 1", "Low 1", "High 0", "Not judged 1"} <= set(texts(first.pages[0]))
    assert {"Inside 0", "High 1"} <= set(texts(second.pages[0]))
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("", "")


def test_areas_without_hydrants_and_hydrants_without_an_area_are_told():
    checked = hydrants(["A", None, None])
    jobs = jobs_of(checked, 2)
    found = sheets(checked, jobs, areas=areas("A", "Empty"))
    assert [sheet.area_id for sheet in found] == ["A", "Empty", None]
    assert "No hydrant stands in this area" in texts(found[1].pages[0])
    assert "No job in this area" in texts(found[1].pages[0])
    outside = texts(found[2].pages[0])
    assert "Outside all areas" in outside
    assert "H-001" in outside
    assert "H-000" not in outside


def test_an_area_that_only_hydrants_name_and_one_without_an_outline_have_pages():
    checked = hydrants(["A", "Z"])
    known = areas("A", "Gone")
    known.loc[1, "geometry"] = None
    found = sheets(checked, jobs_of(checked, 2), areas=known)
    assert [sheet.area_id for sheet in found] == ["A", "Gone", "Z"]
    assert "Area Z" in texts(found[2].pages[0])
    assert [sheet.area_id for sheet in sheets(checked, jobs_of(checked, 2))] == ["A", "Z"]


def test_no_hydrant_at_all_and_one_without_a_place():
    none = hydrants([])
    (sheet,) = sheets(none, jobs_of(none, 0))
    assert sheet.area_id is None
    checked = hydrants(["A", "A"])
    checked.loc[0, "geometry"] = None
    (sheet,) = sheets(checked, jobs_of(checked, 2))
    written = " ".join(texts(sheet.pages[0]))
    assert "not on the map; 0 Mill Road" in written
    assert "1 counted here has no location" in written
    assert [t.get_text() for t in numbers(sheet.pages[0])] == ["2"]


def test_jobs_that_wait_have_no_number_and_are_counted():
    checked = hydrants(["A"] * 5)
    jobs = jobs_of(checked, 5, number=pd.array([1, 2, None, None, 3], dtype="Int64"))
    (sheet,) = sheets(checked, jobs)
    written = texts(sheet.pages[0])
    assert "2 kit jobs wait for another season" in written
    assert [t.get_text() for t in numbers(sheet.pages[0])] == ["1", "2", "3"]
    assert "H-002" not in written


def test_what_is_not_known_is_a_dash(tmp_path):
    checked = hydrants(["A", "A"])
    jobs = jobs_of(
        checked, 2, outlet_height_after_in=np.nan, work_date=pd.NaT, address=None,
        outlet_height_in=[7.0, np.nan],
    )  # fmt: skip
    path = save_area_maps(sheets(checked, jobs), tmp_path, title="T")[0]
    text = pdf_text(path, 1, listed=True)
    assert ROW.findall(text) == [
        ("1", "H-000", "7", "\u2013", "\u2013"),
        ("2", "H-001", "\u2013", "\u2013", "\u2013"),
    ]
    assert text.count("no address") == 2


@pytest.mark.slow
def test_three_hundred_jobs_are_all_listed_and_their_numbers_apart(tmp_path):
    checked = hydrants(["A"] * 900, ["low"] * 300 + ["inside"] * 600)
    jobs = jobs_of(checked, 300)
    found = sheets(checked, jobs, areas=areas("A"))
    pages = found[0].pages
    path = save_area_maps(found, tmp_path, title="T")[0]
    listed = [t for page in pages for t in texts(page) if re.fullmatch(r"H-\d{3}", t)]
    assert listed == list(jobs["hydrant_id"])
    assert f"page {len(pages)} of {len(pages)}" in pdf_text(path, len(pages))
    shown = {t.get_text() for page in pages for t in numbers(page)}
    assert shown == {str(k) for k in range(1, 301)}
    for page in filter(numbers, pages):
        page.canvas.draw()
        boxes = [shapely.box(*t.get_window_extent().extents) for t in numbers(page)]
        left, right = shapely.STRtree(boxes).query(boxes)
        assert not any(
            boxes[a].intersection(boxes[b]).area > 0.25 * boxes[a].area
            for a, b in zip(left, right, strict=True) if a < b
        )  # fmt: skip


def test_a_crowd_has_a_detail_that_shows_all_its_numbers_beside_their_marks():
    checked = hydrants(["A"] * 20)
    along, up = np.divmod(np.arange(14), 2)
    spot = gpd.points_from_xy(X0 + 1000 + 60 * along, Y0 + 900 + 60 * up, crs=3736)
    checked.loc[:13, "geometry"] = spot
    (sheet,) = sheets(checked, jobs_of(checked, 20), areas=areas("A"))
    overview, detail = sheet.pages
    assert "Title of A (A), detail A" in texts(detail)
    assert "detail A on the next page" in texts(overview)
    x0, x1 = map_of(detail).get_xlim()
    y0, y1 = map_of(detail).get_ylim()
    inside = checked.geometry.x.between(x0, x1) & checked.geometry.y.between(y0, y1)
    assert inside[:14].all()
    assert {t.get_text() for t in numbers(detail)} == {str(k + 1) for k in np.flatnonzero(inside)}
    # what the overview frames is what the detail shows
    (box,) = [
        p for p in map_of(overview).patches if isinstance(p, Rectangle) and p.get_zorder() == 13
    ]
    assert (box.get_x(), box.get_x() + box.get_width()) == pytest.approx((x0, x1))
    assert (box.get_y(), box.get_y() + box.get_height()) == pytest.approx((y0, y1))
    seen = [t.get_text() for page in sheet.pages for t in numbers(page)]
    assert set(seen) == {str(k) for k in range(1, 21)}


def test_hydrants_at_one_place_need_no_endless_details():
    checked = hydrants(["A"] * 30)
    checked["geometry"] = gpd.points_from_xy([X0] * 30, [Y0] * 30, crs=3736)
    (sheet,) = sheets(checked, jobs_of(checked, 30))
    assert {t.get_text() for page in sheet.pages for t in numbers(page)} == {
        str(k) for k in range(1, 31)
    }
    assert len(sheet.pages) < 6


def test_nothing_is_written_off_the_page_or_over_the_list():
    long = "An avenue of a name that goes on for sixty letters and more!"
    checked = hydrants(["A"] * 40)
    jobs = jobs_of(checked, 40, address=long * 2, work=long)
    jobs.loc[3, "hydrant_id"] = checked.loc[3, "hydrant_id"] = "X" * 60
    (sheet,) = sheets(
        checked, jobs, areas=areas("A", titles=[long * 3]), streets=streets([long] * 9)
    )
    for page in sheet.pages:
        page.canvas.draw()
        wide, tall = page.get_size_inches() * page.dpi
        for text in page.axes[0].texts:
            box = text.get_window_extent()
            assert box.x0 >= 0
            assert box.x1 <= wide - 20, text.get_text()
            assert box.y0 >= 0
            assert box.y1 <= tall
    lines = sorted(
        (t.get_window_extent() for t in sheet.pages[0].axes[0].texts
         if t.get_window_extent().x0 > 0.66 * wide and t.get_window_extent().y0 > 0.2 * tall),
        key=lambda box: -box.y0,
    )  # fmt: skip
    for a, b in itertools.pairwise(lines):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        up = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert not (across > 1 and up > 0.5 * min(a.height, b.height)), (a, b)


def test_street_names_of_sixty_letters_are_written_where_they_fit():
    fits = "Way of the Old Mill beside the Upper Brook and the Lower Fen"
    assert len(fits) == 60
    checked = hydrants(["A"])
    far = streets([fits, "Short Lane"])
    stub = gpd.GeoDataFrame(
        {"street_id": ["S9"], "street_title": ["Stub" * 15]},
        geometry=[shapely.LineString([(X0 + 10, Y0 + 3000), (X0 + 210, Y0 + 3000)])], crs=3736,
    )  # fmt: skip
    (sheet,) = sheets(
        checked, jobs_of(checked, 1), areas=areas("A"),
        streets=gpd.GeoDataFrame(pd.concat([far, stub], ignore_index=True)),
    )  # fmt: skip
    written = texts(sheet.pages[0])
    assert fits in written
    assert "Short Lane" in written
    assert "Stub" * 15 not in written


@pytest.mark.parametrize(
    "text",
    ["$x_{$", r"C:\data\20190221", "\u05e9\u05dc\u05d5\u05dd", "\u6c34 main\n2", "</svg>", "a\tb",
     "\x00\x07", r"\frac{", "100 %", " "],
)  # fmt: skip
def test_text_from_data_is_written_as_it_is(text, tmp_path):
    checked = hydrants([text, text])
    jobs = jobs_of(checked, 2, address=text, work=text, hydrant_id=[text, "H-001"])
    jobs.loc[0, "hydrant_id"] = checked.loc[0, "hydrant_id"] = text
    words = MapWords(title=text, rule=text, citation=text, data_date=text, cautions=(text,))
    found = list(
        area_sheets(
            checked, jobs, words=words, more=AreaWords(season=text, sources=(text,)),
            areas=areas(text, titles=[text]), streets=streets([text, text, None]),
        )
    )  # fmt: skip
    paths = save_area_maps(found, tmp_path, title=text)
    assert paths[1].parent == tmp_path
    assert paths[1].read_bytes().startswith(b"\x89PNG")
    assert paths[0].read_bytes().startswith(b"%PDF")
    # a sign that the font lacks is an empty box; a sheet of paper has no other way to show it
    expected = " ".join(re.sub("[\u6c34\x00\x07]", "\u25a1", text).split())
    assert not expected or expected in texts(found[0].pages[0])


@pytest.mark.slow
def test_the_same_input_gives_the_same_bytes(tmp_path, monkeypatch):
    checked = hydrants(["A", "B"] * 30)
    jobs = jobs_of(checked, 60)
    layers = {"areas": areas("A", "B"), "streets": streets(["Mill Road", "Fen Lane"])}
    first = save_area_maps(sheets(checked, jobs, **layers), tmp_path / "1", title="T")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1")
    again = save_area_maps(sheets(checked, jobs, **layers), tmp_path / "2", title="T")
    assert [p.name for p in first] == [p.name for p in again]
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in again]
    raw = first[0].read_bytes()
    assert b"CreationDate" not in raw
    assert b"/Type3" not in raw


def test_the_inputs_are_not_changed():
    checked, outline = hydrants(["A"] * 3), areas("A")
    jobs = jobs_of(checked, 3)
    before = [frame.copy() for frame in (checked, jobs, outline)]
    sheets(checked, jobs, areas=outline)
    for was, now in zip(before, (checked, jobs, outline), strict=True):
        pd.testing.assert_frame_equal(pd.DataFrame(was), pd.DataFrame(now))


def test_no_reference_system_is_told():
    checked = hydrants(["A"]).set_crs(None, allow_override=True)
    with pytest.raises(CRSError):
        sheets(checked, jobs_of(checked, 1))


@pytest.mark.parametrize(
    "area_id",
    ["a/b", "..", "../../x", "C:\\x", "a b", "\u6c34", "", "x" * 300, "CON", "none", "\n"],
)
def test_file_names_are_safe_and_tell_areas_apart(area_id):
    name = area_file_name(area_id)
    assert re.fullmatch(r"area_[A-Za-z0-9_-]+\.png", name)
    assert len(name) < 70
    others = ["a_b", "A_B", "a-b", "x_x", "id", None]
    assert name not in {area_file_name(other) for other in others}


def test_names_that_differ_in_case_alone_are_told_apart():
    first = area_file_name("ab")
    second = area_file_name("AB", [first])
    assert first.casefold() != second.casefold()
