"""What a planner decided, taken into the plan: nothing lost, hard limits kept, effects counted."""

from __future__ import annotations

import dataclasses
import shutil

import numpy as np
import openpyxl
import pandas as pd
import pytest

from hydrantgis import demo as district
from hydrantgis import job
from hydrantgis.ground.errors import WordsError
from hydrantgis.intake.plannerbook import read_plannerbook
from hydrantgis.job.choosing import pool
from hydrantgis.job.contenders import contenders

from .commands import run


def entries(*rows):
    frame = pd.DataFrame(rows, columns=["hydrant_id", "entry", "value"], dtype="str")
    return frame.assign(row=range(8, 8 + len(frame)), problem=None)


def best(candidates, limits):
    """The highest priority that a choice can have, by another solver."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    n, m = len(candidates.priority), len(limits.least)
    areas = np.zeros((m, n))
    areas[candidates.area, np.arange(n)] = 1.0
    rows = [
        LinearConstraint(np.append(candidates.cost, np.full(m, limits.area_cost)), -np.inf,
                         limits.budget),
        LinearConstraint(np.append(candidates.hours, np.full(m, limits.area_hours)), -np.inf,
                         limits.crew_hours),
        LinearConstraint(np.hstack([np.eye(n), -areas.T]), -np.inf, 0.0),
        LinearConstraint(np.hstack([areas, np.zeros((m, m))]), limits.least, np.inf),
    ]  # fmt: skip
    told = milp(
        -np.append(candidates.priority, np.zeros(m)), constraints=rows,
        integrality=np.ones(n + m), options={"mip_rel_gap": 1e-6},
        bounds=Bounds(np.append(candidates.must, np.zeros(m)),
                      np.append(~candidates.never, np.ones(m))),
    )  # fmt: skip
    return -told.fun


@pytest.mark.slow
def test_each_decision_does_what_another_solver_says_it_does(result, words, planned):
    table = planned.selection
    inside = table["hydrant_id"][table["selected"]].iloc[[0, -1]].tolist()
    outside = table["hydrant_id"][~table["selected"]].iloc[[0, -1]].tolist()
    told = job.adopt(
        result, words,
        entries(*[(h, "decision", "exclude") for h in inside],
                *[(h, "decision", "include") for h in outside]),
    ).edits.set_index("hydrant_id")  # fmt: skip
    assert (told["outcome"] == "adopted").all()
    from_ = contenders(result, words)
    # the guess of driving that the plan was chosen by in the end
    candidates, limits = planned.pool
    _, _, rows = pool(from_, 1.0)
    ids = from_.table["hydrant_id"].to_numpy()[rows]
    base = best(candidates, limits)
    for hydrant in (*inside, *outside):
        one = ids == hydrant
        changed = dataclasses.replace(
            candidates, must=candidates.must | (one & (hydrant in outside)),
            never=candidates.never | (one & (hydrant in inside)),
        )  # fmt: skip
        assert told.loc[hydrant, "priority_change"] == pytest.approx(
            best(changed, limits) - base, abs=2e-3 * base
        )


@pytest.mark.slow
def test_a_plan_does_what_the_planner_decided(result, words, planned):
    done = planned.selection[planned.selection["selected"]]
    out, moved, late = done["hydrant_id"].iloc[[0, 1, 2]]
    come = planned.selection["hydrant_id"][~planned.selection["selected"]].iloc[0]
    told = job.adopt(
        result, words,
        entries((out, "decision", "exclude"), (come, "decision", "include"),
                (moved, "crew", "North"), (late, "week", "2027-W36"),
                (late, "note", "= after paving")),
    )  # fmt: skip
    after = told.planned.selection.set_index("hydrant_id")
    assert not after.loc[out, "selected"]
    assert after.loc[out, "why"] == "excluded by the planner"
    assert after.loc[come, "selected"]
    assert after.loc[come, "why"] == "included by the planner"
    calendar = told.planned.calendar.set_index("hydrant_id")
    assert moved not in calendar.index or calendar.loc[moved, "crew_id"] == "North"
    assert late not in calendar.index or calendar.loc[late, "week"] == "2027-W36"
    assert after.loc[late, ["asked_week", "note"]].tolist() == ["2027-W36", "= after paving"]
    assert told.edits["outcome"].tolist() == ["adopted"] * 4 + ["noted"]
    assert told.planned.cost <= words.available + 0.005
    assert told.before.calendar["hydrant_id"].tolist() == planned.calendar["hydrant_id"].tolist()


@pytest.mark.slow
def test_what_was_so_already_changes_nothing(result, words, planned):
    inside = planned.selection["hydrant_id"][planned.selection["selected"]].tolist()
    told = job.adopt(result, words, entries((inside[9], "decision", "include")))
    assert told.edits["reason"].tolist() == ["it was so already"]
    assert told.edits["priority_change"].tolist() == pytest.approx([0.0], abs=1e-9)
    assert set(told.planned.calendar["hydrant_id"]) == set(inside)


@pytest.mark.slow
def test_a_crew_that_is_asked_for_costs_no_job_that_has_room(result, words, planned):
    calendar = planned.calendar[planned.calendar["crew_id"] == "South"]
    told = job.adopt(result, words, entries((calendar["hydrant_id"].iloc[0], "crew", "North")))
    assert told.planned.priority >= planned.priority - 1e-6


@pytest.mark.slow
def test_of_too_many_that_come_in_the_weightiest_are_taken(result, words, planned):
    table = planned.selection.sort_values("priority")
    poor = dataclasses.replace(words, budget=12_000.0, least={})
    rows = entries(*[(h, "decision", "include") for h in table["hydrant_id"]])
    edits = job.adopt(result, poor, rows).edits.set_index("hydrant_id")
    weight = table.set_index("hydrant_id")["priority"].reindex(edits.index)
    taken = edits["outcome"] == "adopted"
    assert 0 < taken.sum() < len(edits)
    assert weight[taken].max() == weight.max()
    assert weight[taken].mean() > weight[~taken].mean()


@pytest.mark.slow
def test_what_breaks_a_limit_is_refused_with_the_reason(result, words, planned):
    selection = planned.selection
    a, b, c = selection["hydrant_id"].iloc[:3]
    outside = selection["hydrant_id"][~selection["selected"]].tolist()
    tight = dataclasses.replace(words, must=(a,), never=(b,), budget=3_000.0, least={})
    rows = [
        (a, "decision", "exclude"), (b, "decision", "include"), ("T-9999", "decision", "include"),
        (c, "crew", "West"), (c, "week", "2027-W02"),
        *[(h, "decision", "include") for h in outside[:4]],
    ]  # fmt: skip
    told = job.adopt(result, tight, entries(*rows))
    edits = told.edits
    assert len(edits) == len(rows)
    said = {(r.hydrant_id, r.entry): (r.outcome, r.reason) for r in edits.itertuples()}
    assert said[a, "decision"] == ("refused", "`jobs.must` of the season file names it")
    assert said[b, "decision"] == ("refused", "`jobs.never` of the season file names it")
    assert said["T-9999", "decision"] == ("refused", "no job of the season is at this hydrant")
    assert "there is no crew `West`; there are North, South" in said[c, "crew"][1]
    assert said[c, "week"][0] == "refused"
    # the budget of 2,700 pays the job that must be done and one or two more
    outcomes = [said[h, "decision"] for h in outside[:4]]
    assert any(outcome == "refused" and "budget" in reason for outcome, reason in outcomes)
    assert told.planned.cost <= tight.available + 0.005
    taken = [h for h in outside[:4] if said[h, "decision"][0] == "adopted"]
    assert set(taken) <= set(told.planned.calendar["hydrant_id"])


@pytest.mark.slow
def test_an_entry_with_a_problem_is_told_and_not_taken(result, words, planned):
    one = planned.selection["hydrant_id"].iloc[0]
    bad = entries((one, "decision", "perhaps"), (one, "row", None)).assign(
        problem=["no word", "gone"]
    )
    told = job.adopt(result, words, bad)
    assert told.edits["outcome"].tolist() == ["refused", "refused"]
    assert told.edits["reason"].tolist() == ["no word", "gone"]
    assert told.planned.calendar["hydrant_id"].tolist() == planned.calendar["hydrant_id"].tolist()


def filled(path, out, decisions):
    """The workbook with cells filled in, as a planner would."""
    book = openpyxl.load_workbook(path)
    sheet = book["Jobs"]
    heads: dict[str, int] = {}
    for row in sheet.iter_rows():
        texts = [cell.value for cell in row]
        if not heads:
            heads = {t: k for k, t in enumerate(texts) if t} if "Decision" in texts else {}
            continue
        for heading, value in decisions.get(texts[heads["Hydrant"]], {}).items():
            row[heads[heading]].value = value
    book.save(out)


@pytest.mark.slow
def test_a_workbook_goes_round_and_what_was_decided_stays(capsys, folder, planned):
    out, come = planned.selection["hydrant_id"].iloc[[0, -1]]
    filled(folder / "demo" / "season.xlsx", folder / "back.xlsx",
           {out: {"Decision": "exclude", "Note": "paving first"},
            come: {"Decision": "Include "}})  # fmt: skip
    words = ("plan", "--register", folder / "demo" / "register.gpkg", "--season",
             district.folder() / "season.toml", "--quiet", "--no-curve")  # fmt: skip
    code, said, _ = run(capsys, *words, "--adopt", folder / "back.xlsx", "--out", folder / "a")
    assert code == 0
    assert "2 adopted, 1 noted" in said
    assert "made from another check" not in said
    edits = pd.read_csv(folder / "a" / "season_edits.csv", encoding="utf-8-sig")
    assert sorted(edits["hydrant_id"]) == sorted([out, out, come])
    # sent back as it came, the plan stays the same; cleared, it is the first plan again
    code, said, _ = run(
        capsys, *words, "--adopt", folder / "a" / "season.xlsx", "--out", folder / "b"
    )
    assert "2 adopted, 1 noted" in said
    same = [(folder / name / "season_calendar.csv").read_bytes() for name in ("a", "b")]
    assert same[0] == same[1]
    filled(folder / "b" / "season.xlsx", folder / "cleared.xlsx",
           {out: {"Decision": None, "Note": None}, come: {"Decision": None}})  # fmt: skip
    code, said, _ = run(capsys, *words, "--adopt", folder / "cleared.xlsx", "--out", folder / "c")
    assert "3 nothing to do" in said
    back = [(folder / n / "season_calendar.csv").read_bytes() for n in ("c", "demo")]
    assert back[0] == back[1]


@pytest.mark.slow
def test_the_command_that_the_workbook_names_is_one(capsys, folder):
    book = openpyxl.load_workbook(folder / "demo" / "season.xlsx")
    cells = [cell.value for row in book["Read me"].iter_rows() for cell in row]
    (line,) = [text for text in cells if str(text).startswith("hydrantgis plan")]
    there = {
        "register.gpkg": folder / "demo" / "register.gpkg",
        "season.toml": district.folder() / "season.toml",
        "season.xlsx": folder / "demo" / "season.xlsx",
    }  # fmt: skip
    words = [there.get(word, word) for word in line.split()[1:]]
    code, said, err = run(capsys, *words, "--dry-run", "--quiet", "--no-curve")
    assert code == 0, err
    assert "What the planner decided\n  nothing\n" in said


@pytest.mark.slow
def test_a_workbook_of_another_plan_or_season_is_told(capsys, folder):
    text = (district.folder() / "season.toml").read_text(encoding="utf-8")
    (folder / "richer.toml").write_text(text.replace("62000", "65000"), encoding="utf-8")
    (folder / "later.toml").write_text(text.replace('"2027"', '"2028"'), encoding="utf-8")
    book = folder / "again.xlsx"
    shutil.copy(folder / "demo" / "season.xlsx", book)
    words = ("plan", "--register", folder / "demo" / "register.gpkg", "--quiet", "--no-curve",
             "--out", folder / "d", "--adopt", book)  # fmt: skip
    code, said, err = run(capsys, *words, "--season", folder / "richer.toml")
    assert code == 0, err
    assert "made from another check or season file" in said
    code, _, err = run(capsys, *words, "--season", folder / "later.toml")
    assert code == 2
    assert "of another season" in err
    with pytest.raises(WordsError, match="of another season"):
        job.adopt_book(
            job.check(folder / "demo" / "register.gpkg"), job.load_season(folder / "later.toml"),
            book,
        )  # fmt: skip


def test_the_workbook_says_what_the_plan_says(folder, planned):
    book = openpyxl.load_workbook(folder / "demo" / "season.xlsx", data_only=True)
    rows = list(book["Jobs"].iter_rows(values_only=True))
    heads = next(row for row in rows if "Decision" in row)
    cost, hours = heads.index("Cost"), heads.index("Crew hours")
    total = next(row for row in rows if row[0] == "As planned")
    assert total[cost] == pytest.approx(planned.cost, abs=0.01)
    assert total[hours] == pytest.approx(planned.hours, abs=0.01)
    assert len(read_plannerbook(folder / "demo" / "season.xlsx").entries) == 0
