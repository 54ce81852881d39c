"""A season to plan with: the template, as a file of one's own would change it."""

from __future__ import annotations

import dataclasses
import tomllib

import pytest

from hydrantgis.standards.load import template_of
from hydrantgis.standards.seasonfile import season_from_mapping


@pytest.fixture
def season():
    """The template's season, with changes."""
    words = season_from_mapping(tomllib.loads(template_of("season")), "season.toml")
    return lambda **changes: dataclasses.replace(words, **changes)
