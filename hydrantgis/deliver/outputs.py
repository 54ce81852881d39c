"""
What each file is that leaves the house, and for whom: the one declaration of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase

from hydrantgis.ground.seasons import ALL_TABLES


@dataclass(frozen=True, slots=True)
class Group:
    """
    Who uses some files.

    Attributes
    ----------
    name
        As people read it.
    about
        What they do with them.
    """

    name: str
    about: str


ENGINEER = Group("Engineer", "who is in and out of the window, and why")
PLANNER = Group("Planner", "next season: jobs, days, orders, money")
CREW = Group("Crew", "what goes out to the street")
BOARD = Group("Board", "for those who decide")
TECHNICIAN = Group("GIS technician", "layers for other software")
RECORD = Group("Record", "what everything rests on; keep it")

GROUPS = (ENGINEER, PLANNER, CREW, BOARD, TECHNICIAN, RECORD)
"""In the order of the page."""


@dataclass(frozen=True, slots=True)
class Output:
    """
    A file, or files of one kind.

    Attributes
    ----------
    pattern
        Its name; `*` stands for anything, and several files then share one line.
    title, about
        What it is, in a word or two and in a sentence.
    group
        Who uses it first.
    """

    pattern: str
    title: str
    about: str
    group: Group

    @property
    def is_many(self) -> bool:
        """Whether several files share its line."""
        return "*" in self.pattern


OUTPUTS = (
    Output("map.html", "Map", "Every hydrant by verdict, with its figures; open it in a browser, "
           "no network needed.", ENGINEER),
    Output("report.html", "Report", "The figures and charts, with what they rest on; opens "
           "without a network.", BOARD),
    Output("report.pdf", "Report for print", "The same figures and charts on paper.", BOARD),
    Output("areas.pdf", "Area maps", "A letter page an area, jobs numbered as in the list beside "
           "the map.", CREW),
    Output("area_*.png", "Area maps as pictures", "The map of each area, for slides and mail.",
           BOARD),
    Output("season.xlsx", "Planner's workbook", "Jobs by area, calendar, orders and notices; "
           "fill in the tinted columns and take it back with hydrantgis plan --adopt.", PLANNER),
    Output("season_curve.png", "What money brings", "Jobs and priority under other budgets.",
           BOARD),
    Output("season_curve.svg", "What money brings, as lines", "The same chart for print at any "
           "size.", BOARD),
    Output("season_*.csv", "Lists of the season", "Each list as a table of its own.", PLANNER),
    Output("season.gpkg", "Season layers", "Every list of the season as a layer.", TECHNICIAN),
    Output("sheets.pdf", "Job sheets", "A sheet a job: parts, valve, steps and cautions, with "
           "room for what was measured.", CREW),
    Output("notices.pdf", "Notices", "Who has to be told of which hydrant, and by when.", CREW),
    Output("report.xlsx", "Figures of the report", "The tables behind its charts.", ENGINEER),
    Output("checked.gpkg", "Checked layer", "Every hydrant with height, verdict and remedy, in "
           "the marks of the map.", TECHNICIAN),
    Output("register.gpkg", "Register", "Hydrants, areas and all that ever happened to them; the "
           "only memory.", RECORD),
    Output("register_exceptions.csv", "Rows put aside", "Rows that are held or rejected, and why.",
           TECHNICIAN),
    Output("register_changes.csv", "Changes", "What a newer layer changed in the register.",
           TECHNICIAN),
)  # fmt: skip
"""The first pattern that fits a name tells what it is."""

_TITLES = {f"season_{table.name}.csv": table.title for table in ALL_TABLES}
_TITLES["area_none.png"] = "outside all areas"


def output_of(name: str) -> Output | None:
    """
    What a file is, by its name; None where it is none of ours.

    Examples
    --------
    >>> output_of("season_orders.csv").title
    'Lists of the season'
    >>> output_of("notes.txt") is None
    True
    """
    return next((one for one in OUTPUTS if fnmatchcase(name, one.pattern)), None)


def short_title(name: str) -> str:
    """
    What one of several files on a line is called.

    Examples
    --------
    >>> short_title("season_orders.csv"), short_title("area_A4.png")
    ('To order', 'A4')
    """
    if name in _TITLES:
        return _TITLES[name]
    one = output_of(name)
    if one is None or not one.is_many:
        return name
    before, _, after = one.pattern.partition("*")
    return name[len(before) : len(name) - len(after)]
