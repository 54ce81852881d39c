"""Package and plain script come to the same, hydrant by hydrant."""

from __future__ import annotations

import subprocess
import sys

import pytest

from . import choice, contest, plain
from .district import make


def test_package_and_plain_script_agree(tmp_path):
    files = make(tmp_path, 500)
    for kind in contest.INTAKES:
        contest.bring_in(files, kind)
    contest.check(files)
    plain.run(files)
    counts = contest.compare(tmp_path)
    assert counts["hydrants"] == 500
    # there is something of each kind to agree on
    assert min(counts[v] for v in ("inside", "low", "high", "unresolved", "unmeasured")) >= 3
    assert counts["with a kit"] >= 20
    assert counts["areas"] >= 2


@pytest.mark.bench
def test_table_is_printed():
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench", "1000", "--repeats", "1"],
        cwd=contest.ROOT, check=True, capture_output=True, text=True,
    )  # fmt: skip
    print(done.stdout)
    assert done.stdout.count("| 1,000 |") == 2
    assert "equal verdicts and kit lengths" in done.stderr


@pytest.mark.bench
def test_the_choice_of_kits_is_printed_beside_a_plain_loop(capsys):
    choice.main(20_000, 2_000)
    assert "all alike" in capsys.readouterr().out
