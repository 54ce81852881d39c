"""
The whole job on an invented water district, and where its files lie.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from hydrantgis.ground.errors import WordsError, some
from hydrantgis.ground.tables import IMPORTS
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.words import IntakeWords
from hydrantgis.job import (
    beside,
    bring_in,
    check,
    deliver_all,
    keep_standards,
    load_season,
    quiet,
)  # fmt: skip
from hydrantgis.register.store import Register

if TYPE_CHECKING:
    from collections.abc import Callable

    from hydrantgis.intake.take import Intake
    from hydrantgis.job import Checked
    from hydrantgis.season.lists import Season


def folder() -> Path:
    """Where the demo district lies: in the package, or beside it in a checkout."""
    here = Path(__file__).parent
    inside = here / "data_demo"
    return inside if inside.is_dir() else here.parent / "data_demo"


TITLE = "Tesselbrook Water District"
TIME = dt.datetime(2026, 9, 30, 12)  # noqa: DTZ001 - UTC, like every time in the register
"""The demo records this time, so that every run of it gives the same bytes."""


def run(
    out: Path | str, *, tell: Callable[[str], None] = quiet
) -> tuple[Checked, Season, list[Path], list[tuple[str, Intake]]]:
    """
    Run the whole job on the invented district.

    Parameters
    ----------
    out
        Folder for the results; files of an earlier run are replaced.
    tell
        Told each stage of the work.

    Raises
    ------
    WordsError
        The folder holds a register of somebody's own.

    Returns
    -------
    checked, season, paths, intakes
        Results, the files that were written, and what each source brought.
    """
    data, place = folder(), Path(out)
    place.mkdir(parents=True, exist_ok=True)
    register = place / "register.gpkg"
    _clear(register, data)
    district = data / "district.gpkg"
    steps: list[tuple[Path, str, IntakeWords]] = [
        (district, "hydrants", IntakeWords(layer="hydrants")),
        (district, "areas", IntakeWords(layer="service_areas")),
        (district, "valves", IntakeWords(layer="valves")),
        (district, "mains", IntakeWords(layer="mains")),
        (district, "streets", IntakeWords(layer="streets")),
        (district, "facilities", IntakeWords(layer="facilities")),
        (data / "readings_2026.csv", "readings", IntakeWords()),
        (data / "shots_2026.csv", "shots", shot_words()),
    ]
    intakes = []
    for source, kind, words in steps:
        intake, _ = bring_in(register, source, kind, words=words, now=TIME, tell=tell)
        intakes.append((f"{source.name} as {kind}", intake))
    keep_standards(register, rule=str(data / "rule.toml"), kits=str(data / "kits.toml"), now=TIME)
    checked = check(register, command="hydrantgis demo", tell=tell)
    done = deliver_all(
        checked, place, words=load_season(data / "season.toml"), register=register, title=TITLE,
        tell=tell,
    )  # fmt: skip
    paths = [register, beside(register, "exceptions"), *done.paths]
    return checked, done.season, paths, intakes


def _clear(register: Path, data: Path) -> None:
    """Take away the register of an earlier demo, and never another one."""
    if not register.exists():
        return
    sources = set(Register(register).read(IMPORTS)["source"])
    others = sources - {path.name for path in data.iterdir()}
    if others:
        raise WordsError(
            "the folder holds a register that is not the demo's",
            where=str(register),
            found=f"sources {some(sorted(others))}",
            do="name another folder with --out",
        )
    register.unlink()


def shot_words() -> IntakeWords:
    """What the demo's survey file does not say of itself: CRS, unit and datum."""
    return IntakeWords(
        crs="EPSG:3736",
        units={"elev_ft": LengthUnit.FT},
        constants={"vertical_datum": "NAVD88"},
    )
