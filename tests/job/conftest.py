"""The demo's season, planned once for all that asks about it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from hydrantgis import demo as district
from hydrantgis import job


@pytest.fixture(scope="session")
def folder(demo, tmp_path_factory) -> Path:
    """Room for files, with the demo's results in `demo`."""
    place = tmp_path_factory.mktemp("season")
    shutil.copytree(demo[2][0].parent, place / "demo")
    return place


@pytest.fixture(scope="session")
def result(folder):
    """The check of the demo."""
    return job.check(folder / "demo" / "register.gpkg")


@pytest.fixture(scope="session")
def words():
    """Its season file."""
    return job.load_season(district.folder() / "season.toml")


@pytest.fixture(scope="session")
def planned(result, words):
    """The season planned from both."""
    return job.plan_season(result, words)
