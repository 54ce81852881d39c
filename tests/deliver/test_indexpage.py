"""The page that leads to the files of a folder."""

from __future__ import annotations

import os
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote_to_bytes

import pytest

from hydrantgis.deliver.indexpage import INDEX, entries_of, index_page, save_index
from hydrantgis.deliver.looks import MapWords
from hydrantgis.deliver.outputs import GROUPS, OUTPUTS, output_of, short_title
from hydrantgis.ground.seasons import ALL_TABLES

WORDS = MapWords(
    title="Tesselbrook <Water>",
    rule="Outlet center 18 to 24 in above final grade",
    citation="House rule 7 & more",
    data_date="2026-08-18",
    cautions=("The maker's instructions govern.",),
)
OURS = (
    "register.gpkg", "register_exceptions.csv", "checked.gpkg", "map.html", "season.gpkg",
    "season.xlsx", "season_jobs.csv", "season_orders.csv", "season_curve.csv", "season_curve.png",
    "season_curve.svg", "sheets.pdf", "notices.pdf", "areas.pdf", "area_A1.png", "area_none.png",
    "report.html", "report.pdf", "report.xlsx",
)  # fmt: skip
HOSTILE = (
    "<img src=x onerror=alert(1)>.txt", "javascript:alert(1)", '"><script>1', "a&b;c.csv",
    "new\nline.txt", "50% #1?.pdf", "season_<b>.csv", "area_'\"><i>.png", "\u202egnp.exe",
    "~", "https:", " ", "-", "\u6c34.txt", "{{x}}", ".hidden",
)  # fmt: skip


class Reader(HTMLParser):
    """Tags, links and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.links: list[str] = []
        self.attributes: set[str] = set()
        self.text: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        self.links += [value for name, value in attrs if name in ("href", "src")]

    def handle_data(self, data):
        self.text.append(data)


def page_of(folder: Path) -> str:
    return index_page(
        entries_of(folder), words=WORDS, figures=[("Hydrants", "1,234")], share="9 of 10",
        moment="2026-09-30",
    )  # fmt: skip


def fill(folder: Path, names) -> Path:
    folder.mkdir(exist_ok=True)
    for number, name in enumerate(names):
        (folder / name).write_bytes(b"x" * (number * 1000))
    return folder


def linked(folder: Path, page: str) -> set[str]:
    links = Reader(page).links
    assert len(links) == len(set(links))
    assert all(link.startswith("./") and "/" not in link[2:] for link in links)
    names = {os.fsdecode(unquote_to_bytes(link[2:])) for link in links}
    assert all((folder / name).is_file() for name in names)
    return names


def test_every_file_is_linked_once_and_every_link_resolves(tmp_path):
    fill(tmp_path, OURS)
    page = page_of(tmp_path)
    assert linked(tmp_path, page) == set(OURS)
    assert "Not known" not in page


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_hostile_names_are_inert_and_still_lead_to_their_files(tmp_path):
    ours = Reader(page_of(fill(tmp_path / "ours", OURS)))
    folder = fill(tmp_path / "all", [*OURS, *HOSTILE])
    page = page_of(folder)
    assert linked(folder, page) == {*OURS, *HOSTILE}
    read = Reader(page)
    assert set(read.tags) == set(ours.tags)
    assert read.attributes == ours.attributes
    assert "script" not in read.tags
    assert "img" not in read.tags
    assert "\u202e" not in page
    text = "".join(read.text)
    assert "<img src=x onerror=alert(1)>.txt" in text
    assert "Not known to this program" in text


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_a_name_that_is_no_text_is_linked(tmp_path):
    try:
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.csv")).write_text("x")
    except OSError:
        pytest.skip("the file system takes no such name")
    page = page_of(tmp_path)
    assert page.encode("utf-8")
    assert linked(tmp_path, page) == {"caf\udce9.csv"}


def test_folders_and_lost_links_are_told_and_not_linked(tmp_path):
    (tmp_path / "season_old.csv").mkdir()
    (tmp_path / "lost.csv").symlink_to(tmp_path / "nowhere")
    page = page_of(tmp_path)
    assert Reader(page).links == []
    text = "".join(Reader(page).text)
    assert "season_old.csv" in text
    assert "lost.csv" in text
    assert text.count("not a file") == 2


def test_it_asks_for_nothing_and_runs_nothing(tmp_path):
    page = page_of(fill(tmp_path, OURS))
    assert "http:" not in page
    assert "https:" not in page
    assert "url(" not in page
    assert "@import" not in page
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'"
    assert page.index(policy) < page.index("<style>")
    assert not {"script", "iframe", "object", "form", "link", "base"} & set(Reader(page).tags)


def test_title_figures_rule_date_and_cautions_are_there(tmp_path):
    text = " ".join(Reader(page_of(fill(tmp_path, OURS))).text)
    for told in (
        WORDS.title, WORDS.rule, WORDS.citation, WORDS.data_date, *WORDS.cautions, "1,234",
        "9 of 10", "2026-09-30",
    ):  # fmt: skip
        assert told in text


def test_files_stand_in_their_group_with_their_size(tmp_path):
    (tmp_path / "season.xlsx").write_bytes(b"x" * 54_738)
    (tmp_path / "season_jobs.csv").write_bytes(b"x" * 1_500)
    (tmp_path / "season_orders.csv").write_bytes(b"x" * 2_500)
    (tmp_path / "map.html").write_bytes(b"x")
    text = " ".join(Reader(page_of(tmp_path)).text)
    at = [text.index(word) for word in ("Engineer", "1 byte", "Planner", "55 kB", "2 files, 4 kB")]
    assert at == sorted(at)
    assert "Crew" not in text
    assert "Season list" in text
    assert "To order" in text


def test_the_same_folder_gives_the_same_bytes_though_the_page_is_in_it(tmp_path):
    fill(tmp_path, OURS)
    first = save_index(tmp_path, page_of(tmp_path)).read_bytes()
    (tmp_path / ".register.gpkg.lock").touch()
    assert save_index(tmp_path, page_of(tmp_path)).read_bytes() == first
    assert [path.name for path in tmp_path.iterdir() if path.name == INDEX] == [INDEX]


def test_an_empty_folder_has_a_page(tmp_path):
    assert Reader(page_of(tmp_path)).links == []
    assert Reader(page_of(tmp_path / "not there")).links == []


def test_each_output_is_declared_once_and_in_a_group():
    assert len({one.pattern for one in OUTPUTS}) == len(OUTPUTS)
    assert {one.group for one in OUTPUTS} == set(GROUPS)
    assert {name: output_of(name) for name in OURS if output_of(name) is None} == {}
    assert output_of("season_curve.png").title == "What money brings"
    assert output_of("Season_x.csv") is None
    for table in ALL_TABLES:
        assert short_title(f"season_{table.name}.csv") == table.title
