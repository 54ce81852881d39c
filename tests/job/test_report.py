"""The report: figures from the raw readings, page, paper, and registers that lack much."""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from hydrantgis import demo as district
from hydrantgis import job
from hydrantgis.deliver.reportpage import page_of
from hydrantgis.job.reportfigures import facts_of
from hydrantgis.job.reportpages import pages_of

from .small_register import made

HOSTILE = (
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "$x^2$ #panic() `raw` *b* _i_",
    "=1+1", '"quoted" & \'single\'', "</style></table>", "\\new <label> @ref //",
    "\u4e2d\u6587 \u00e9",
)  # fmt: skip


class Page(HTMLParser):
    """Tags, addresses and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.alts: list[str] = []
        self.cells: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        told = {name: value or "" for name, value in attrs}
        self.addresses += [told[name] for name in ("src", "href", "action", "data") if name in told]
        assert not [name for name in told if name.startswith("on")]
        if tag == "img":
            self.alts.append(told["alt"])
        if tag in ("td", "th"):
            self.cells.append("")

    def handle_data(self, data: str) -> None:
        if "style" in self.tags[-1:]:
            return
        self.text += data
        if self.cells:
            self.cells[-1] += data


@pytest.fixture(scope="session")
def curve(planned):
    return job.budget_curve(planned)


@pytest.fixture(scope="session")
def told(result, planned, curve, folder):
    """The report of the demo."""
    return job.report(
        result, season=job.plan(result), planned=planned, curve=curve,
        register=folder / "demo" / "register.gpkg", title="Tesselbrook",
    )  # fmt: skip


@pytest.fixture(scope="session")
def files(told, tmp_path_factory) -> list[Path]:
    return job.save_report(told, tmp_path_factory.mktemp("report"))


def paper(path: Path, order: str = "-layout") -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("needs `pdftotext`")
    done = subprocess.run(["pdftotext", order, path, "-"], capture_output=True, check=True)
    return done.stdout.decode().replace("\u200b", "")


def inches(text: str) -> float:
    """`21.5 in`, `1 ft 9 in`, `1'-9"` or `1.75 ft`, by hand."""
    feet = re.search(r"(-?[\d.]+) ?(?:ft|')", text)
    inch = re.search(r"(-?[\d.]+) ?(?:in|\")", text.split("'-")[-1])
    return 12 * (float(feet[1]) if feet else 0.0) + (float(inch[1]) if inch else 0.0)


def test_verdicts_in_the_figures_are_those_of_the_raw_readings(told):
    """Tape and level by hand, the newest of each hydrant; all others as the checked table has."""
    newest: dict[str, tuple[str, float]] = {}
    twice = set()
    data = (district.folder() / "readings_2026.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(data.splitlines()):
        name, day = row["HYDRANT"], row["DATE"]
        if row["METHOD"] not in ("tape", "level") or row["HEIGHT"].startswith("999"):
            continue
        if name in newest and newest[name][0] == day and newest[name][1] != inches(row["HEIGHT"]):
            twice.add(name)
        if name not in newest or day > newest[name][0]:
            newest[name] = (day, inches(row["HEIGHT"]))
    table = told.result.table.set_index("hydrant_id")
    counts = {"inside": 0, "low": 0, "high": 0, "unresolved": 0}
    by_hand = 0
    for name, row in table.iterrows():
        if row["verdict"] not in counts:
            continue
        verdict = row["verdict"]
        contact = row["height_basis"] in ("tape", "level") and name not in twice
        if contact and 3 <= newest[name][1] <= 60:  # beyond, one reading alone tells too little
            height = newest[name][1]
            verdict = "low" if height < 18 else "high" if height > 24 else "inside"
            by_hand += 1
        counts[verdict] += 1
    facts = facts_of(told)
    assert by_hand > 250
    assert sum(counts.values()) == facts["inside, of those measured"].denominator
    for verdict in ("inside", "low", "high", "unresolved"):
        assert facts[f"{verdict}, of those measured"].numerator == counts[verdict]


def test_figures_are_those_of_a_loop_over_the_checked_table(told, planned):
    rows = told.result.table.drop(columns="geometry").to_dict("records")
    judged = [r for r in rows if isinstance(r["verdict"], str)]
    seen = [r for r in judged if r["verdict"] != "unmeasured"]
    facts = facts_of(told)
    assert facts["measured, of those judged"][:2] == (len(seen), len(judged))
    kits = ("extend", "exchange", "remove")
    work = (*kits, "replace", "lower", "regrade", "review")
    assert facts["kit jobs"].numerator == sum(r["remedy"] in kits for r in rows)
    assert facts["work to do"].numerator == sum(r["remedy"] in work for r in rows)
    assert facts["to measure"].numerator == sum(r["remedy"] == "measure" for r in rows)
    price = {kit.kit_id: kit.unit_cost for kit in told.result.kits.kits()}
    cost = sum(price[r["kit_id"]] for r in rows if isinstance(r["kit_id"], str))
    assert facts["kits for all jobs"].numerator == pytest.approx(cost)
    expected = sum(r["p_inside"] for r in seen)
    assert facts["inside by the probabilities of the readings"].numerator == pytest.approx(expected)
    done = set(planned.calendar["hydrant_id"])
    right = sum(
        r["hydrant_id"] in done and r["verdict"] in ("low", "high")
        and 18 <= round(r["outlet_height_after_in"], 2) <= 24
        for r in rows
    )  # fmt: skip
    inside = sum(r["verdict"] == "inside" for r in rows)
    after = facts["inside, of those measured, after the season"]
    assert after[:2] == (inside + right, len(seen))
    jobs, limits = planned.pool
    areas = len(set(jobs.area.tolist()))
    assert facts["cost of these jobs"].numerator == pytest.approx(
        sum(jobs.cost.tolist()) + areas * limits.area_cost
    )


def test_every_figure_says_of_what_from_which_data_rule_and_day(told):
    figures = told.figures()
    assert figures["data"].str.len().gt(0).all()
    assert set(figures["rule_id"]) == {"tesselbrook-2026"}
    assert set(figures["as_of"]) == {pd.Timestamp("2026-09-30")}
    shares = figures[figures["unit"] == "share"]
    assert (shares["value"] == shares["numerator"] / shares["denominator"]).all()


def test_the_page_asks_for_nothing_and_runs_nothing(files):
    page = files[0].read_text(encoding="utf-8")
    read = Page(page)
    assert "script" not in read.tags
    assert "link" not in read.tags
    assert all(address.startswith("data:image/svg+xml;base64,") for address in read.addresses)
    assert "default-src 'none'; style-src 'unsafe-inline'; img-src data:" in page
    assert "url(" not in page
    assert "@import" not in page


def test_every_chart_is_told_in_words_too(told, files):
    alts = Page(files[0].read_text(encoding="utf-8")).alts
    assert len(alts) == 4
    for alt in alts:
        assert any(character.isdigit() for character in alt)
    facts = facts_of(told)
    assert f"Inside {facts['inside, of those measured'].numerator}" in alts[0]
    assert b"/Alt" in files[1].read_bytes() or b"/StructTreeRoot" in files[1].read_bytes()


def test_page_and_paper_tell_the_same_figures(files):
    page, text = Page(files[0].read_text(encoding="utf-8")).text, paper(files[1])
    flat = " ".join(text.split())
    for words in ("205 of 335", "61 %", "69,462 USD", "55,786 USD", "Wilson", "No trend can be"):
        assert words in page
        assert words in flat, words


def test_the_first_page_is_one_page(files):
    first = paper(files[1]).split("\f")[0]
    assert "Inside, of those measured" in first
    assert "farthest out" in first
    assert "By area" not in first


def test_a_browser_prints_no_blank_page(files, tmp_path):
    browser = shutil.which("chromium")
    if browser is None:
        pytest.skip("needs `chromium`")
    out = tmp_path / "printed.pdf"
    subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}",
         f"--print-to-pdf={out}", files[0].as_uri()],
        check=True, capture_output=True,
    )  # fmt: skip
    sheets = paper(out).split("\f")[:-1]
    assert len(sheets) > 2
    assert all(len(text.split()) > 60 for text in sheets), (
        "more than what a browser prints round it"
    )
    assert "farthest out" in sheets[0]
    assert "By area" not in sheets[0]


def test_the_cost_of_the_backlog_says_of_how_many_it_tells_nothing(told, planned, files):
    remedies = told.result.table["remedy"]
    work = remedies.isin(
        ["extend", "exchange", "remove", "replace", "lower", "regrade", "review"]
    ).sum()
    costed = len(planned.pool[0].cost)
    first = " ".join(paper(files[1], "-raw").split("\f")[0].split())
    assert f"Cost of {costed} of them" in first
    assert f"nothing is told of the other {work - costed}" in first


def test_the_same_report_has_the_same_bytes(told, files, tmp_path):
    again = job.save_report(told, tmp_path)
    assert [p.read_bytes() for p in again] == [p.read_bytes() for p in files]


@pytest.fixture
def strange(tmp_path):
    """A register with hostile text wherever text can be."""
    many = len(HOSTILE)
    return made(
        tmp_path / "strange", areas=[(f"A{k}", text) for k, text in enumerate(HOSTILE)], an_area=2,
        ids=[f"{k:04d}" if k % 2 else HOSTILE[k // 2] for k in range(2 * many)],
        readings=[(f"{2 * k + 1:04d}", "2026-05-01", 9.0 + k) for k in range(many)],
        facts={"address": [HOSTILE[k // 2] for k in range(2 * many)],
               "family": [HOSTILE[k // 2] for k in range(2 * many)]},
    )  # fmt: skip


def test_hostile_text_shows_as_it_was_typed(strange, tmp_path):
    checked = job.check(strange)
    paths = job.write_report(
        checked, tmp_path, season=job.plan(checked), register=strange, title=HOSTILE[0]
    )
    read = Page(paths[0].read_text(encoding="utf-8"))
    assert "script" not in read.tags
    assert read.tags.count("title") == 1
    text = re.sub(r"\s", "", paper(paths[1]))
    titles = set(checked.areas["area_title"])
    assert len(titles) == len(HOSTILE)
    for words in titles:
        assert words in read.cells
        if words.isascii():  # the font of the pages has no other script than those of Europe
            assert re.sub(r"\s", "", words) in text
    book = openpyxl.load_workbook(paths[2])
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {c.value for c in cells} >= titles
    assert not [c for c in cells if c.data_type == "f" and str(c.value) in HOSTILE]
    told = {c.value for c in cells if c.data_type == "s"}
    assert "=1+1" in told


def test_hostile_words_of_a_season_show_as_they_were_typed(told, tmp_path):
    """A title that a chart would take for a formula, and break on."""
    bad = "$\\no{ $ <b>&amp;</b> #panic()"
    words = replace(told.planned.words, title=bad, source=bad)
    strange = replace(told, title=bad, planned=replace(told.planned, words=words))
    paths = job.save_report(strange, tmp_path)
    assert bad in Page(paths[0].read_text(encoding="utf-8")).text
    assert bad in " ".join(paper(paths[1]).split())


def pages(register: Path, **more) -> str:
    told = job.report(job.check(register), register=register, **more)
    return Page(page_of(pages_of(told))).text


def test_a_register_without_readings_says_so(tmp_path):
    text = pages(made(tmp_path / "a", areas=[("A", "North")]))
    assert "has a usable reading yet" in text
    assert "No hydrant is measured, so another window changes nothing yet" in text
    assert "none measured" in text
    assert "%" not in text.split("How to read")[0].replace("0 %", "").replace("95 %", "")


def test_a_register_without_areas_or_season_says_so(tmp_path):
    readings = [(f"{k:04d}", "2026-05-01", 12.0 + 4 * k) for k in range(1, 5)]
    text = pages(made(tmp_path / "a", readings=readings))
    assert "No areas are in the register" in text
    assert "No season is planned" in text
    assert "50 %" in text


def test_a_register_without_hydrants_says_so(tmp_path):
    register = made(tmp_path / "a", areas=[("A", "North")], an_area=0)
    assert "holds no hydrants yet" in pages(register)
    assert len(job.write_report(job.check(register), tmp_path, register=register)) == 3


def test_a_register_without_hydrants_that_are_judged_says_so(tmp_path):
    register = made(tmp_path / "a", areas=[("A", "North")], facts={"barrel": ["wet"] * 4})
    assert "No hydrant is judged" in pages(register)
    assert len(job.write_report(job.check(register), tmp_path, register=register)) == 3


def test_a_register_whose_hydrants_are_all_out_or_all_inside_divides_by_nothing(tmp_path):
    for name, height, words in (
        ("in", 20.0, "No measured hydrant stands out"),
        ("out", 9.0, "0 %"),
    ):
        readings = [(f"{k:04d}", "2026-05-01", height) for k in range(1, 5)]
        register = made(tmp_path / name, areas=[("A", "North")], readings=readings)
        assert words in pages(register)


def test_readings_that_do_not_answer_the_rule_are_told_and_not_drawn(tmp_path):
    readings = [(f"{k:04d}", "2026-05-01", 20.0) for k in range(1, 5)]
    register = made(tmp_path / "a", areas=[("A", "North")], readings=readings)
    other = job.check(register, rule="nfpa24-2019", kits="generic", outlet="hose")
    assert other.counts()["unresolved"] == 4
    told = job.report(other)
    text = Page(page_of(pages_of(told))).text
    assert "No reading answers what the rule asks for" in text
    assert "4 of them have no height that answers the rule" in text
    assert len(job.save_report(told, tmp_path)) == 3


def test_an_area_without_a_reading_is_shown_as_such(tmp_path):
    register = made(
        tmp_path / "a", areas=[("A", "North"), ("B", "South")],
        readings=[(f"{k:04d}", "2026-05-01", 20.0) for k in range(1, 5)],
    )  # fmt: skip
    told = job.report(job.check(register))
    south = told.areas.set_index("area_id").loc["B"]
    assert (south["measured"], south["beside"]) == (0, "none measured")
    assert pd.isna(south["inside_share"])


def test_a_trend_follows_the_hydrants_that_were_measured_in_every_year(tmp_path):
    readings = [(f"{k:04d}", "2024-05-01", 20.0) for k in range(1, 13)]
    readings += [(f"{k:04d}", "2026-05-01", 20.0 if k < 10 else 12.0) for k in range(1, 20)]
    register = made(tmp_path / "a", areas=[("A", "North")], an_area=20, readings=readings)
    told = job.report(job.check(register))
    assert told.trend["season_year"].tolist() == [2024, 2026]
    assert told.trend["hydrants"].tolist() == [12, 12]
    assert told.trend["inside"].tolist() == [12, 9]
    assert told.trend["measured_then"].tolist() == [12, 19]
    assert "The same 12 hydrants" in Page(page_of(pages_of(told))).text


def test_forty_areas_with_long_names_are_all_told(tmp_path):
    areas = [(f"A{k:02d}", f"{k} {'a long name ' * 5}"[:60]) for k in range(40)]
    readings = [(f"{k:04d}", "2026-05-01", 14.0 + k % 13) for k in range(1, 41)]
    register = made(tmp_path / "a", areas=areas, an_area=1, readings=readings)
    told = job.report(job.check(register), register=register)
    paths = job.save_report(told, tmp_path / "out")
    flat = re.sub(r"\s", "", paper(paths[1], "-raw"))
    for _, name in areas:
        assert re.sub(r"\s", "", name) in flat
    assert "the 10 lowest of 40" in Page(paths[0].read_text(encoding="utf-8")).text


def test_the_command_writes_three_files_and_tells_json(folder, tmp_path, capsys):
    from hydrantgis.cli import app

    register = folder / "demo" / "register.gpkg"
    words = ["report", "--register", str(register), "--out", str(tmp_path / "r"), "--quiet"]
    for more, there in ((["--dry-run"], False), (["--window", "15:24"], True)):
        with pytest.raises(SystemExit) as end:
            app.main([*words, *more, "--json"])
        assert not end.value.code
        told = json.loads(capsys.readouterr().out)
        assert (tmp_path / "r").exists() is there
    figures = {row["figure"]: row for row in told["figures"]}
    assert figures["inside, of those measured"]["numerator"] == 205
    assert [row["window_lo_in"] for row in told["sweep"]] == [18.0, 15.0]
    assert [Path(f).name for f in told["files"]] == ["report.html", "report.pdf", "report.xlsx"]
    assert told["season"] is None
