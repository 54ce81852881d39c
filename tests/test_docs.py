"""The README is true: its tables come from the code, its figures from a run, its commands exist."""

from __future__ import annotations

import json
import os
import re
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest

from hydrantgis.cli import app
from hydrantgis.ground.findings import CODES
from hydrantgis.ground.results import CHECKED
from hydrantgis.intake.words import IntakeWords, words_from_mapping
from hydrantgis.standards.load import cautions, shipped_rules

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"


def rules_table() -> str:
    rows = ["| rule | what it asks for | source | how read |", "|---|---|---|---|"]
    rows += [
        f"| `{r.rule_id}` | {r} | {r.title}: {r.citation.document} ({r.citation.edition}), "
        f"{r.citation.clause} | {r.citation.how_read} |"
        for r in shipped_rules()
    ]
    return "\n".join(rows)


def codes_table() -> str:
    rows = ["| code | severity | what it means | what to do |", "|---|---|---|---|"]
    rows += [f"| `{c}` | {k.severity} | {k.meaning} | {k.do} |" for c, k in sorted(CODES.items())]
    return "\n".join(rows)


def demo_screen(capsys: pytest.CaptureFixture[str], folder: Path) -> str:
    os.chdir(folder)
    try:
        app.main(["demo", "--quiet"])
    except SystemExit as end:
        assert not end.code
    lines = capsys.readouterr().out.rstrip().splitlines()
    return "\n".join(("    " + line).rstrip() for line in lines)


def block(path: Path, name: str) -> tuple[str, str]:
    """The whole text and what stands between the marks."""
    text = path.read_text(encoding="utf-8")
    found = re.search(rf"<!-- {name}: begin -->\n(.*?)<!-- {name}: end -->", text, re.DOTALL)
    assert found, name
    return text, found.group(1).strip("\n")


def hold(path: Path, name: str, made: str) -> None:
    text, stands = block(path, name)
    if os.environ.get("HYDRANTGIS_REFRESH"):
        begin, end = f"<!-- {name}: begin -->\n", f"<!-- {name}: end -->"
        head, rest = text.split(begin)
        whole = head + begin + "\n" + made + "\n\n" + end + rest.split(end)[1]
        path.write_text(whole, encoding="utf-8")
        return
    assert stands == made, "run again with HYDRANTGIS_REFRESH=1 and look at the difference"


def test_tables_in_the_documents_are_those_of_the_code() -> None:
    hold(README, "rules", rules_table())
    hold(README, "checked", CHECKED.to_markdown())
    hold(README, "cautions", "\n".join(f"- {caution}" for caution in cautions()))
    hold(DEVELOPERS, "codes", codes_table())


def test_the_demo_screen_is_what_the_demo_prints(capsys, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    hold(README, "demo", demo_screen(capsys, tmp_path))


def test_the_profile_in_the_readme_is_one_and_says_every_word_there_is() -> None:
    text = README.read_text(encoding="utf-8")
    lines = text[text.index("    format = 1") :].split("\n\n")[0]
    mapping = tomllib.loads("\n".join(line[4:] for line in lines.splitlines()))
    words, kind = words_from_mapping(mapping, "README.md")
    assert kind == "hydrants"
    said = json.loads(words.as_json())
    assert set(said) | {"swap_xy"} == {field.name for field in fields(IntakeWords)}


def test_every_command_in_the_readme_is_one() -> None:
    text = README.read_text(encoding="utf-8")
    words = set(re.findall(r"hydrantgis (\w+)", text)) - {"takes"}
    told = {c.name for c in app.app.registered_commands}
    told |= {g.name for g in app.app.registered_groups}
    assert words - {"is"} <= told
    assert told <= words | {"kits", "rules"}


def test_every_option_in_the_readme_is_one() -> None:
    import typer

    text = README.read_text(encoding="utf-8")
    command = typer.main.get_command(app.app)
    known = {"--help"}
    for entry in command.commands.values():  # type: ignore[attr-defined]
        for part in getattr(entry, "commands", {"": entry}).values():
            known |= {o for p in part.params for o in p.opts}
    assert set(re.findall(r"(?<![\w<!-])--[a-z][a-z-]+", text)) <= known


def test_every_finding_code_is_used_somewhere() -> None:
    package = ROOT / "hydrantgis"
    text = "\n".join(
        p.read_text(encoding="utf-8") for p in package.rglob("*.py") if p.name != "findings.py"
    )
    assert not [code for code in CODES if f'"{code}"' not in text]


def test_top_level_holds_what_it_may() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "hydrantgis", "data_demo",
               "notebooks", "tests"}  # fmt: skip
    ignored = {"hydrantgis-demo", "build", "dist"}
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert {n for n in found if not n.endswith(".egg-info")} - ignored == allowed
