"""Job sheets and notices: what is printed, read back from the PDF and held against the tables."""

from __future__ import annotations

import datetime as dt
import io
import re
import shutil
import subprocess
from collections import Counter

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import segno
import shapely

from hydrantgis import demo as district
from hydrantgis import job
from hydrantgis.cli import app
from hydrantgis.deliver.sheets import code_svg, code_text
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.words import IntakeWords

NOW = dt.datetime(2026, 11, 1, 12, 0)
WEST, SOUTH = 760_000.0, 2_950_000.0
HOSTILE = "$x$ #1 <b> =1+1 @ref `raw` *b* // \\ \u05e9"
OTHERS = ("replace", "lower", "regrade", "measure")


def need(program):
    if shutil.which(program) is None:
        pytest.skip(f"needs `{program}`")


def pages(path):
    """The text of each page, blanks closed up and soft breaks taken out."""
    need("pdftotext")
    done = subprocess.run(["pdftotext", "-raw", path, "-"], capture_output=True, check=True)
    texts = done.stdout.decode("utf-8").replace("\u200b", "").split("\f")[:-1]
    return [" ".join(text.split()) for text in texts]


def fronts_and_backs(path):
    """Front and back of each sheet, by number."""
    told = pages(path)
    found = {}
    for number, text in enumerate(told):
        if match := re.search(r"sheet (\d+) of (\d+) · (front|back)$", text):
            found[int(match[1]), match[3]] = (number, text)
    return found, told


def figure(value):
    """A number as it is printed, made here by another way."""
    if value is None or pd.isna(value):
        return "?"
    return f"{round(float(value), 2):.2f}".rstrip("0").rstrip(".")


@pytest.fixture(scope="module")
def season(result):
    return job.plan(result)


@pytest.fixture(scope="module")
def book(result, season, planned):
    return job.sheet_book(result, season, planned, job.Wanted(also=OTHERS))


@pytest.fixture(scope="module")
def printed(book, folder):
    return job.write_sheet_book(book, folder / "sheets")


def test_every_job_of_the_plan_has_a_front_and_a_back_in_the_order_of_its_stops(
    book, printed, planned
):
    found, told = fronts_and_backs(printed[0])
    calendar = planned.calendar.sort_values(["work_date", "crew_id", "stop"])
    assert book.rows["hydrant_id"].tolist()[: len(calendar)] == calendar["hydrant_id"].tolist()
    assert book.rows["hydrant_id"].is_unique
    assert sorted(found) == sorted((n + 1, side) for n in range(len(book.rows)) for side in
                                   ("front", "back"))  # fmt: skip
    for number, hydrant_id in enumerate(book.rows["hydrant_id"], 1):
        page, text = found[number, "front"]
        assert page % 2 == 0, "a front is an odd page, so that it is printed on the face"
        assert hydrant_id in text
        back_page, back = found[number, "back"]
        assert back_page == page + 1
        assert back.startswith(hydrant_id)
    loose = [text for n, text in enumerate(told) if n not in {page for page, _ in found.values()}]
    assert all("AREA LIST" in t or "CREW DAY" in t or "LOG OF THE DAY" in t or not t or
               "readings to" in t for t in loose)  # fmt: skip


def test_the_figures_of_every_sheet_are_those_of_the_lists(book, printed, season, result):
    found, _ = fronts_and_backs(printed[0])
    lists = pd.concat([pd.DataFrame(season.jobs), *map(pd.DataFrame, season.others.values())])
    lists = lists.set_index("hydrant_id")
    valves = season.isolation.set_index("hydrant_id")
    seen = Counter()
    for number, hydrant_id in enumerate(book.rows["hydrant_id"], 1):
        row, text = lists.loc[hydrant_id], found[number, "front"][1]
        seen[row["remedy"]] += 1
        if row["remedy"] == "measure":
            assert f"{figure(row['outlet_height_in'])} in" in text or pd.isna(
                row["outlet_height_in"]
            )
            continue
        for before, after in (
            ("outlet_height_in", "outlet_height_after_in"),
            ("flange_height_in", "flange_height_after_in"),
            ("bury_ft", "bury_after_ft"),
        ):
            assert f"{figure(row[before])} → {figure(row[after])}" in text
        if isinstance(row["kit_id"], str):
            assert row["kit_id"] in text
        if hydrant_id in valves.index and isinstance(valves.loc[hydrant_id, "valve_id"], str):
            valve = valves.loc[hydrant_id]
            assert valve["valve_id"] in text
            assert f"{figure(valve['turns_least'])} to {figure(valve['turns_most'])} usual" in text
        if pd.notna(row["reading_date"]):
            assert f"{row['reading_date']:%Y-%m-%d}" in text
        assert result.rule.rule_id in text
    assert {"extend", "exchange", "remove", "replace", "lower", "measure"} <= set(seen)


def test_ground_that_is_raised_is_told_as_a_span_on_a_sheet_of_its_own(folder, tmp_path):
    text = (district.folder() / "kits.toml").read_text(encoding="utf-8")
    rules = text.replace("[house_rules]", "[house_rules]\nmost_regrade_in = 4")
    (tmp_path / "kits.toml").write_text(rules, encoding="utf-8")
    result = job.check(folder / "demo" / "register.gpkg", kits=str(tmp_path / "kits.toml"))
    season = job.plan(result)
    raised = season.others["regrade"]
    assert len(raised)
    wanted = job.Wanted(only=tuple(raised["hydrant_id"]))
    found, _ = fronts_and_backs(job.write_sheets(result, season, tmp_path, wanted=wanted)[0])
    for number, row in enumerate(raised.to_dict("records"), 1):
        text = found[number, "front"][1]
        over = row["outlet_height_in"] - 24.0  # down to the upper limit, by 4 in at most
        assert f"RAISE THE GROUND BY {figure(over)} to 4 in" in text
        assert "RAISE THE GROUND" in text
        assert "Ground raised by" in text


def test_close_out_boxes_say_what_is_expected(book, printed):
    found, _ = fronts_and_backs(printed[0])
    for number, row in enumerate(book.rows.to_dict("records"), 1):
        text = found[number, "back" if row["remedy"] != "measure" else "front"][1]
        if row["remedy"] == "measure":
            for word in ("Outlet, first", "Flange, bottom", "Method", "Who", "Day"):
                assert word in text
            continue
        for word in (
            "Outlet height, as left", "Flange height, as left", "Who", "Day", "Leaks",
            "Hydrant, turns to open", "Valve, turns to shut", "New bury on the card",
        ):  # fmt: skip
            assert word in text
        assert f"expected {figure(row['outlet_height_after_in'])}" in text


def test_hold_points_stand_on_the_back_of_kit_jobs(book, printed):
    found, _ = fronts_and_backs(printed[0])
    kit_jobs = np.flatnonzero(book.rows["remedy"].isin(["extend", "exchange"])) + 1
    for number in kit_jobs:
        holds = re.findall(r"HOLD: ([^.]+)\.", found[int(number), "back"][1])
        first = ["Flange measured, kit still right"]
        unknown = pd.isna(book.rows["flange_height_in"].iloc[int(number) - 1])
        assert holds == (first if unknown else []) + [
            "Isolated and proved", "Pins seated, pulled up", "Outlets face as before",
            "Bolts even", "No leak at any joint", "Drains flushed", "Isolating valve fully open",
        ]  # fmt: skip


def test_the_chosen_kit_and_the_others_stand_in_the_table_of_what_can_be_tried(
    book, printed, season
):
    found, _ = fronts_and_backs(printed[0])
    numbers = {name: n for n, name in enumerate(book.rows["hydrant_id"], 1)}
    told = season.alternatives[season.alternatives["hydrant_id"].isin(numbers)]
    chosen = told[told["chosen"] & told["kit_id"].notna()]
    assert len(chosen) > 20
    for row in chosen.to_dict("records"):
        text = found[numbers[row["hydrant_id"]], "front"][1]
        line = f"▶ {row['kit_id']}"
        assert line in text
        p = f"{round(100 * row['p_inside_after']):.0f} %"
        after = text.split(line)[1][:70]
        assert figure(row["outlet_height_after_in"]) in after
        assert p in after


def test_a_cover_tells_hours_stops_parts_and_whom_to_tell(printed, planned):
    _, told = fronts_and_backs(printed[0])
    covers = [text for text in told if text.endswith("stop to stop") and "CREW DAY" in text]
    assert len(covers) == len(planned.crew_days)
    for day, text in zip(planned.crew_days.to_dict("records"), covers, strict=True):
        assert f"{day['work_date']:%Y-%m-%d}" in text
        assert f"Crew {day['crew_id']}" in text
        assert day["back_at"] in text
        assert f"{day['work_hours']:.1f} h" in text
        mine = planned.calendar[
            (planned.calendar["work_date"] == day["work_date"])
            & (planned.calendar["crew_id"] == day["crew_id"])
        ]
        for stop in mine.to_dict("records"):
            assert f"{stop['out_from']} to {stop['back_by']}" in text
            assert stop["hydrant_id"] in text
        for kit, count in mine["kit_id"].value_counts().items():
            assert f"{count} kit {kit}" in text
        # three cap gaskets a job stand in the season file of the demo
        assert f"{3 * len(mine)} cap gaskets" in text
        by = planned.notices[planned.notices["hydrant_id"].isin(mine["hydrant_id"])]
        for send in by["tell_by"].unique():
            assert f"{send:%Y-%m-%d}" in text


def test_a_stand_in_is_the_nearest_that_serves_on_that_day_and_is_not_outside(book, result):
    """Held against a plain loop on another plane: that of geopandas."""
    hydrants = result.hydrants.to_crs("EPSG:32613")
    place = {h: (p.x, p.y) for h, p in zip(hydrants["hydrant_id"], hydrants.geometry, strict=True)}
    status = dict(zip(hydrants["hydrant_id"], hydrants["status"], strict=True))
    out_remedies = {"extend", "exchange", "remove", "replace", "lower"}
    outside = set(result.table.loc[result.table["verdict"].isin(["low", "high"]), "hydrant_id"])
    rows = book.rows.to_dict("records")
    for row in rows[::5]:
        busy = {
            other["hydrant_id"] for other in rows
            if other["remedy"] in out_remedies and (
                other["work_date"] == row["work_date"]
                or (pd.isna(other["work_date"]) and pd.isna(row["work_date"]))
            )
        }  # fmt: skip
        here = place[row["hydrant_id"]]
        free = sorted(
            (np.hypot(x - here[0], y - here[1]), name)
            for name, (x, y) in place.items()
            if name != row["hydrant_id"] and name not in busy
            and status[name] not in ("out_of_service", "retired")
        )  # fmt: skip
        best = next(pair for pair in free if pair[1] not in outside)
        assert row["other_id"] == best[1]
        assert row["other_ft"] == pytest.approx(best[0] / 0.3048, rel=2e-3)
        nearer = None if free[0] == best else free[0][1]
        assert (None if pd.isna(row["nearer_id"]) else row["nearer_id"]) == nearer


def test_a_nearer_hydrant_that_stands_too_low_is_named_and_marked(book, printed, result):
    verdicts = dict(zip(result.table["hydrant_id"], result.table["verdict"], strict=True))
    rows = book.rows[book.rows["remedy"].isin(["extend", "exchange", "remove"])]
    marked = rows["nearer_id"].notna().to_numpy(dtype=bool)
    assert 0 < marked.sum() < len(rows)
    fronts = [text for (_, side), (_, text) in fronts_and_backs(printed[0])[0].items()
              if side == "front"]  # fmt: skip
    told = " ".join(pages(printed[1]))
    for row, has_nearer in zip(rows.to_dict("records"), marked, strict=True):
        assert verdicts[row["other_id"]] not in ("low", "high")
        where = f"{row['other_id']}, {row['other_ft']:.0f} ft {row['other_direction']}"
        if has_nearer:
            where += (
                f"; nearer {row['nearer_id']}, {row['nearer_ft']:.0f} ft "
                f"{row['nearer_direction']} ({verdicts[row['nearer_id']]})"
            )
        (front,) = [text for text in fronts if f" {row['hydrant_id']} · sheet " in text]
        assert where in front
        assert where in told


def test_a_flange_that_nobody_measured_is_measured_before_anything_is_opened(book, printed):
    rows = book.rows[book.rows["remedy"].isin(["extend", "exchange", "remove"])]
    unknown = set(rows.loc[rows["flange_height_in"].isna(), "hydrant_id"])
    assert unknown
    found, _ = fronts_and_backs(printed[0])
    for number, name in enumerate(book.rows["hydrant_id"], 1):
        if name in set(rows["hydrant_id"]):
            text = found[number, "back"][1]
            assert ("Flange measured, kit still right" in text) == (name in unknown)


def test_a_reading_that_a_limit_runs_through_is_taken_again_before_the_ground_is_opened(
    book, printed, result
):
    table = result.table.set_index("hydrant_id")
    found, _ = fronts_and_backs(printed[0])
    told = 0
    for number, row in enumerate(book.rows.to_dict("records"), 1):
        seen = table.loc[row["hydrant_id"]]
        reach = 2 * seen["height_sd_in"]
        near = min(abs(seen["outlet_height_in"] - seen[f"window_{end}_in"]) for end in ("lo", "hi"))
        opens = row["remedy"] in ("extend", "exchange", "remove", "replace", "lower")
        text = found[number, "front"][1]
        assert ("measure again before the ground is opened" in text) == (opens and near < reach)
        told += opens and near < reach
    assert told


def test_a_rule_without_a_flange_window_says_how_high_the_flange_will_stand(demo):
    result = job.check(demo[2][0], rule="nfpa24-2019", outlet="pumper")
    made = job.sheet_book(result, job.plan(result), None, job.Wanted())
    kits = made.rows[made.rows["kit_id"].notna() & made.rows["flange_height_after_in"].notna()]
    assert len(kits)
    for row in kits.to_dict("records"):
        assert f"which is then {row['flange_height_after_in']:g} in above grade" in row["mind"]


def test_hydrants_that_go_out_on_one_day_are_listed_by_the_hour(printed, planned):
    listed = " ".join(text for text in pages(printed[1]) if "sender: name" not in text)
    order = planned.calendar.sort_values(["work_date", "out_from"])
    at = [listed.index(f"{row['work_date']:%Y-%m-%d} {row['hydrant_id']}")
          for row in order.to_dict("records")]  # fmt: skip
    days = order["work_date"].tolist()
    assert all(a < b for a, b, d, e in zip(at, at[1:], days, days[1:], strict=False) if d != e)
    crew_days = order.assign(at=at).groupby(["work_date", "crew_id"])["at"]
    assert all(group.is_monotonic_increasing for _, group in crew_days)


def test_codes_are_ordinary_qr_of_the_place_as_rfc_5870_writes_it(book, result):
    to_degrees = pyproj.Transformer.from_crs(result.hydrants.crs, 4326, always_xy=True)
    places = result.hydrants.set_index("hydrant_id").geometry
    for n, hydrant_id in enumerate(book.rows["hydrant_id"][:10]):
        lon, lat = to_degrees.transform(places[hydrant_id].x, places[hydrant_id].y)
        text = code_text(hydrant_id, *book.lat_lon[n])
        match = re.fullmatch(r"geo:(-?\d+\.\d{6}),(-?\d+\.\d{6})", text)
        assert float(match[1]) == pytest.approx(lat, abs=1e-6)
        assert float(match[2]) == pytest.approx(lon, abs=1e-6)
        code = segno.make_qr(text, error="m")
        assert not code.is_micro
        assert re.fullmatch(r"\d+-[MQH]", code.designator)
        width = len(code.matrix) + 2 * 4
        assert f'viewBox="0 0 {width} {width}"' in code_svg(text), "four modules of white round it"


def test_a_scanner_reads_the_codes_off_the_printed_page(book, printed, folder):
    need("pdftoppm")
    need("zbarimg")
    found, _ = fronts_and_backs(printed[0])
    for number in (1, 2, len(book.rows)):
        page = str(found[number, "front"][0] + 1)
        picture = folder / "scan"
        subprocess.run(
            ["pdftoppm", "-r", "150", "-gray", "-png", "-singlefile", "-f", page, "-l", page,
             printed[0], picture], check=True,
        )  # fmt: skip
        read = subprocess.run(
            ["zbarimg", "--quiet", "--raw", f"{picture}.png"], capture_output=True, check=True
        )
        expected = code_text(book.rows["hydrant_id"].iloc[number - 1], *book.lat_lon[number - 1])
        assert read.stdout.decode().strip() == expected


def test_fonts_are_embedded(printed):
    need("pdffonts")
    for path in printed:
        done = subprocess.run(["pdffonts", path], capture_output=True, check=True)
        lines = done.stdout.decode().splitlines()[2:]
        assert lines
        for line in lines:
            embedded, subset = line.split()[-5:-3]
            assert (embedded, subset) == ("yes", "yes"), line


def test_the_same_season_prints_the_same_bytes(result, season, planned, tmp_path):
    few = job.Wanted(day=planned.calendar["work_date"].iloc[0].date())
    one, two = (
        [p.read_bytes() for p in job.write_sheets(result, season, tmp_path / name, planned=planned,
                                                  wanted=few)]
        for name in ("a", "b")
    )  # fmt: skip
    assert one == two


def test_the_letters_hold_every_line_of_the_notices_once(book, printed):
    told = " ".join(pages(printed[1]))
    for row in book.notices.to_dict("records"):
        many = 2  # one letter to the fire department, one to customers
        assert told.count(row["out_line"]) == many
        assert told.count(row["back_line"]) == 1
    letters = [text for text in pages(printed[1]) if "sender: name of the utility" in text]
    groups = book.notices.groupby(["told_to", "area_id", "out_on"], dropna=False)
    assert len(letters) == groups.ngroups
    fire = [t for t in letters if "To: the fire department" in t]
    assert all("Stand-in: T-" in text for text in fire)


def test_the_out_of_service_list_has_a_row_for_every_hydrant_that_goes_out(book, printed):
    listed = " ".join(text for text in pages(printed[1]) if "sender: name" not in text)
    out = book.rows[book.rows["remedy"].isin(["extend", "exchange", "remove", "replace", "lower"])]
    for row in out.to_dict("records"):
        assert row["hydrant_id"] in listed
        if pd.notna(row["work_date"]):
            assert f"{row['work_date']:%Y-%m-%d} {row['hydrant_id']}" in listed


def test_without_a_season_every_kit_job_is_printed_by_area_with_days_left_blank(
    result, season, tmp_path
):
    paths = job.write_sheets(result, season, tmp_path)
    found, told = fronts_and_backs(paths[0])
    assert len(found) == 2 * len(season.jobs)
    areas = [
        text for text in told if text.startswith(("AREA LIST", "Jobs")) and "AREA LIST" in text
    ]
    assert len(areas) == season.jobs["area_id"].fillna("").nunique()
    letters = " ".join(pages(paths[1]))
    assert "out of service on __________ from ____ to about ____ ." in letters


def test_filters_leave_what_they_say(result, season, planned):
    def ids(**said):
        return set(job.sheet_book(result, season, planned, job.Wanted(**said)).rows["hydrant_id"])

    calendar = planned.calendar
    day = calendar["work_date"].iloc[3]
    assert ids(day=day.date()) == set(calendar["hydrant_id"][calendar["work_date"] == day])
    assert ids(crew="South") == set(calendar["hydrant_id"][calendar["crew_id"] == "South"])
    assert ids(area="A2") == set(calendar["hydrant_id"][calendar["area_id"] == "A2"])
    to_measure = season.others["measure"]["hydrant_id"].iloc[0]
    assert ids(only=(to_measure,)) == {to_measure}


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"only": ("T-9999",)}, "no hydrant `T-9999`"),
        ({"day": dt.date(2027, 1, 1)}, "no job for --day 2027-01-01"),
        ({"crew": "West"}, "no job for --crew West"),
        ({"area": "A99"}, "no job for --area A99"),
        ({"also": ("review",)}, "`review` is no job that a crew is handed"),
    ],
)
def test_what_is_not_there_is_told(result, season, planned, said, message):
    with pytest.raises(WordsError, match=re.escape(message)):
        job.sheet_book(result, season, planned, job.Wanted(**said))


def test_a_hydrant_without_a_job_and_a_day_without_a_season_are_told(result, season):
    idle = result.table["hydrant_id"][result.table["remedy"] == "none"].iloc[0]
    with pytest.raises(WordsError, match="have no job that a crew is handed"):
        job.sheet_book(result, season, None, job.Wanted(only=(idle,)))
    with pytest.raises(WordsError, match="--crew needs a season"):
        job.sheet_book(result, season, None, job.Wanted(crew="North"))


def test_more_sheets_than_one_file_should_hold_are_asked_for_in_parts(result, season, monkeypatch):
    monkeypatch.setattr("hydrantgis.job.sheeting.MOST_SHEETS", 5)
    with pytest.raises(WordsError, match=r"print them by --area, --day or --crew"):
        job.sheet_book(result, season)


def town(place, columns, *, area=None, valves=(), side=20):
    """A register of low hydrants in a grid, with whatever texts they have."""
    n = len(columns["hydrant_id"])
    at = [shapely.Point(WEST + 200 * (k % side), SOUTH + 200 * (k // side)) for k in range(n)]
    said = {"barrel": "dry", "bury_ft": 5.0, **columns}
    gpd.GeoDataFrame(said, geometry=at, crs=2249).to_file(place / "hydrants.gpkg")
    register = place / "register.gpkg"
    job.bring_in(register, place / "hydrants.gpkg", now=NOW)
    pd.DataFrame(
        {"hydrant_id": columns["hydrant_id"], "reading_date": "2026-06-01",
         "outlet_height_in": [f"{12 + k % 4} in" for k in range(n)]}
    ).to_csv(place / "readings.csv", index=False)  # fmt: skip
    how = {"method": "tape", "measured_to": "pumper-centerline", "measured_from": "grade"}
    job.bring_in(
        register, place / "readings.csv", "readings", words=IntakeWords(constants=how), now=NOW
    )
    if area:
        shape = shapely.box(WEST - 1e3, SOUTH - 1e3, WEST + 1e5, SOUTH + 1e5)
        frame = gpd.GeoDataFrame({"area_id": ["A1"], "area_title": [area]}, geometry=[shape],
                                 crs=2249)  # fmt: skip
        frame.to_file(place / "areas.gpkg")
        job.bring_in(register, place / "areas.gpkg", "areas", now=NOW)
        lines = [shapely.LineString([(WEST - 90, SOUTH + 30), (WEST + 9e3, SOUTH + 30)])]
        streets = gpd.GeoDataFrame({"street_id": ["S1"], "street_title": [area]}, geometry=lines,
                                   crs=2249)  # fmt: skip
        streets.to_file(place / "streets.gpkg")
        job.bring_in(register, place / "streets.gpkg", "streets", now=NOW)
    if len(valves):
        frame = gpd.GeoDataFrame(
            {"valve_id": [name for name, _ in valves], "size_in": 6.0,
             "valve_use": "hydrant branch"},
            geometry=[shapely.Point(at[k].x + 8, at[k].y - 6) for _, k in valves], crs=2249,
        )  # fmt: skip
        frame.to_file(place / "valves.gpkg")
        words = IntakeWords(units={"size_in": LengthUnit.IN})
        job.bring_in(register, place / "valves.gpkg", "valves", words=words, now=NOW)
    result = job.check(register, rule="nfpa24-2019", kits="generic", outlet="pumper")
    return result, job.plan(result)


def test_hostile_long_and_missing_texts_come_out_as_text_on_two_pages_a_sheet(tmp_path):
    long_name = "Avenue of the Sixty Letters That Go On and On Without an Endx"[:60]
    columns = {
        "hydrant_id": [HOSTILE[:20], "H1", "H2", "I" * 60, "H4"],
        "address": [HOSTILE, long_name, None, "x" * 60, "5 Short Row"],
        "family": [HOSTILE, "generic", None, "y" * 90, "generic"],
        "note": [HOSTILE * 9, None, "=HYPERLINK(1)", "z" * 900, None],
    }
    result, season = town(tmp_path, columns, area=HOSTILE, valves=[(HOSTILE[:18], 0), ("V4", 4)])
    paths = job.write_sheets(result, season, tmp_path / "out")
    found, _ = fronts_and_backs(paths[0])
    assert len(found) == 10
    by_id = {text: text for _, text in found.values()}
    hostile = next(text for text in by_id if "sheet" in text and "$x$ #1 <b>" in text)
    for word in ("$x$", "#1", "<b>", "=1+1", "@ref", "`raw`", "*b*", "//"):
        assert word in hostile
    assert "\u05e9" in hostile
    fronts = [text for (_, side), (_, text) in found.items() if side == "front"]
    assert any(long_name in text for text in fronts)
    whole = [text.replace(" ", "") for text in fronts if "I" * 60 in text.replace(" ", "")]
    assert len(whole) == 1, "an id that the head cuts stands whole beside it"
    assert sum("no address on record" in text for text in fronts) == 1
    assert sum("NO VALVE OF ITS OWN IS DRAWN" in text for text in fronts) == 3
    assert any("=HYPERLINK(1)" in text for text in fronts)
    letters = " ".join(pages(paths[1]))
    assert "the water of the street may be off meanwhile" in letters
    assert "$x$ #1 <b>" in letters


def test_nothing_runs_out_of_the_margins(tmp_path, printed):
    need("pdftotext")
    columns = {"hydrant_id": ["W" * 60, "H1"], "address": ["W" * 60, None],
               "family": ["W" * 90, None], "note": ["W" * 900, "W " * 300]}  # fmt: skip
    result, season = town(tmp_path, columns, area="W" * 80, valves=[("W" * 60, 0)])
    paths = [*job.write_sheets(result, season, tmp_path / "out"), *printed]
    for path in paths:
        done = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, check=True)
        boxes = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)"',
            done.stdout.decode(),
        )
        edges = np.array(boxes, dtype=float)
        assert len(edges) > 100
        assert edges[:, 0].min() > 18
        assert edges[:, 2].max() < 612 - 18
        assert edges[:, 1].min() > 18
        assert edges[:, 3].max() < 792 - 15


@pytest.mark.slow
def test_an_area_of_300_jobs_is_two_pages_a_sheet(tmp_path):
    ids = [f"H{n:03}" for n in range(300)]
    columns = {"hydrant_id": ids, "address": [f"{n} Long Street" for n in range(300)],
               "family": ["generic"] * 300}  # fmt: skip
    valves = [(f"V{n:03}", n) for n in range(300)]
    result, season = town(tmp_path, columns, area="Old Town", valves=valves)
    paths = job.write_sheets(result, season, tmp_path / "out")
    found, told = fronts_and_backs(paths[0])
    assert len(found) == 600
    cover = " ".join(told[: min(page for page, _ in found.values())])
    assert all(name in cover for name in ids)
    assert "300 stem piece of the same length" in cover
    assert "600 barrel gaskets" in cover


def test_a_register_without_streets_valves_areas_or_crs_still_prints(tmp_path):
    result, season = town(tmp_path, {"hydrant_id": ["H1"], "address": [None], "family": [None]})
    paths = job.write_sheets(result, season, tmp_path / "out")
    _, told = fronts_and_backs(paths[0])
    assert "In no area" in told[0]
    assert "none known" in next(text for text in told if "front" in text)


def test_the_code_of_a_hydrant_without_a_place_says_its_number():
    assert code_text("H 7", float("nan"), float("nan")) == "H 7"
    drawn = io.BytesIO()
    segno.make_qr("H 7", error="m").save(drawn, kind="svg", border=4, omitsize=True, xmldecl=False,
                                         light="#fff")  # fmt: skip
    assert code_svg("H 7") == drawn.getvalue().decode()


def test_the_command_prints_filters_and_writes_nothing_on_a_dry_run(folder, capsys, tmp_path):
    register = str(folder / "demo" / "register.gpkg")
    place = tmp_path / "out"
    words = ["sheets", "--register", register, "--only", "T-0298", "--out", str(place), "--json"]
    with pytest.raises(SystemExit) as ended:
        app.main([*words, "--dry-run"])
    assert ended.value.code == 0
    assert not place.exists()
    assert '"sheets": 1' in capsys.readouterr().out
    with pytest.raises(SystemExit) as ended:
        app.main(words)
    assert ended.value.code == 0
    assert sorted(path.name for path in place.iterdir()) == ["notices.pdf", "sheets.pdf"]
    with pytest.raises(SystemExit) as ended:
        app.main(["sheets", "--register", register, "--day", "soon"])
    assert ended.value.code == 2
    assert "that is no day" in capsys.readouterr().err
