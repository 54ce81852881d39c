"""
Sources and surveys into the register, and the lists that stand beside it.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from hydrantgis.deliver.lists import write_csv
from hydrantgis.ground.errors import LockedError
from hydrantgis.ground.tables import CHANGES, EXCEPTIONS
from hydrantgis.intake.crs import service_area
from hydrantgis.intake.take import Intake, take
from hydrantgis.intake.words import IntakeWords
from hydrantgis.job.moment import quiet, the_time
from hydrantgis.register.places import named_by_place
from hydrantgis.register.store import Register

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    import pandas as pd

    from hydrantgis.ground.table import Table
    from hydrantgis.register.additions import Added


_HELD_AGAINST = ("hydrants", "valves", "shots")
"""What lies where the hydrants of the register do."""


def bring_in(
    register: Path | str,
    source: Path | str,
    kind: str = "hydrants",
    *,
    words: IntakeWords | None = None,
    now: dt.datetime | None = None,
    replace: bool = False,
    adds: bool = False,
    dry_run: bool = False,
    allow_remote: bool = False,
    beyond: bool = False,
    tell: Callable[[str], None] = quiet,
) -> tuple[Intake, Added]:
    """
    Bring a source into the register.

    Parameters
    ----------
    register
        The register's file; made by the first hydrant layer.
    source
        A vector layer or a table.
    kind
        `hydrants`, `areas`, `valves`, `mains`, `streets`, `facilities`, `works`, `readings` or
        `shots`.
    words
        What the user says about the source.
    now
        The time to record, in UTC; the clock's where it is None.
    replace
        Of areas, valves, mains, streets or facilities: take away what came from other sources. Of
        hydrants: the layer is the whole inventory, and what it lacks is retired.
    adds
        Of hydrants: nothing that the layer lacks is retired.
    dry_run
        Do everything but write.
    allow_remote
        Whether a source on the web may be fetched.
    beyond
        The layer lies elsewhere than the hydrants of the register; hydrants, valves and shots are
        else refused where most of them do.
    tell
        Told each stage of the work.

    Returns
    -------
    intake, added
        What the source held, and what of it was new to the register.

    Notes
    -----
    Beside the register stand, as CSV, the rows that are put aside (`REGISTER_exceptions.csv`) and
    what the newest hydrant layer changed (`REGISTER_changes.csv`).

    Raises
    ------
    HydrantGISError
        The source or the register cannot be used; nothing was written.
    """
    moment = the_time() if now is None else now
    store = Register(Path(register))
    held_against = kind in _HELD_AGAINST and store.exists()
    stands = store.hydrants() if held_against or kind == "readings" else None
    service = None
    if stands is not None and held_against and not beyond:
        service = service_area(stands.geometry)
    intake = take(
        str(source), kind, words or IntakeWords(), today=moment.date(), stands=stands,
        service=service, allow_remote=allow_remote, tell=tell,
    )  # fmt: skip
    tell(f"{'looking at' if dry_run else 'writing to'} {store.path.name}")
    if kind == "hydrants" and stands is not None:
        intake = named_by_place(intake, stands)
    added = store.add(intake, now=moment, replace=replace, adds=adds, dry_run=dry_run)
    if not (dry_run or added.known):
        _write_beside(store, kind, added, tell)
    return intake, added


def beside(register: Path, what: str) -> Path:
    """
    The CSV beside a register that holds its `exceptions` or `changes`.

    Examples
    --------
    >>> beside(Path("register.gpkg"), "changes").name
    'register_changes.csv'
    """
    return register.with_name(f"{register.stem}_{what}.csv")


def _write_beside(store: Register, kind: str, added: Added, tell: Callable[[str], None]) -> None:
    """Lists for a spreadsheet; one with nothing to say is taken away."""
    lists: list[tuple[Table, pd.DataFrame]] = [(EXCEPTIONS, store.exceptions())]
    if kind == "hydrants":
        lists.append((CHANGES, added.changes))
    for table, rows in lists:
        path = beside(store.path, table.name)
        try:
            if len(rows):
                write_csv(path, table, rows)
            else:
                path.unlink(missing_ok=True)
        except (LockedError, OSError) as error:
            # the register has all of it; a list that is open in a spreadsheet stops nothing
            tell(f"{path.name} could not be renewed and is an older one: {error}")
