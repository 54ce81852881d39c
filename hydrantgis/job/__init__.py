"""
The whole job, in the order in which it is done.

    sources, surveys -> register -> heights -> verdicts -> remedies -> season list -> map, files

Each step is a function that a notebook can call; the command line calls the same ones. This is the
one place that gathers paths, the time and the rooms.
"""

from __future__ import annotations

from hydrantgis.intake.words import IntakeWords
from hydrantgis.job.adopting import Adopted, adopt, adopt_book
from hydrantgis.job.areamaps import area_jobs, draw_area_maps, write_area_maps
from hydrantgis.job.backgrounds import read_backgrounds
from hydrantgis.job.bringing import beside, bring_in
from hydrantgis.job.budgets import budget_curve
from hydrantgis.job.checking import Checked, check
from hydrantgis.job.delivering import Delivered, deliver_all
from hydrantgis.job.explaining import Explained, explain
from hydrantgis.job.foretelling import Foretold, scenario
from hydrantgis.job.heights import SHOT_RADIUS_FT
from hydrantgis.job.indexing import write_index
from hydrantgis.job.moment import quiet, the_time
from hydrantgis.job.reporting import Report, report, save_report, write_report
from hydrantgis.job.seasoning import Planned, load_season, plan_season
from hydrantgis.job.sheeting import Wanted, sheet_book, write_sheet_book, write_sheets
from hydrantgis.job.showing import draw_map, map_words, plan, write_season
from hydrantgis.job.standing import keep_standards, standards_for
from hydrantgis.job.surfacing import FROM_METADATA, FROM_SHOTS, Surfaced, bring_surface
from hydrantgis.job.sweeping import Swept, sweep, windows_of
from hydrantgis.job.versus import Versus, compare_plans

__all__ = [
    "FROM_METADATA", "FROM_SHOTS", "SHOT_RADIUS_FT", "Adopted", "Checked", "Delivered",
    "Explained", "Foretold", "IntakeWords", "Planned", "Report", "Surfaced", "Swept", "Versus",
    "Wanted", "adopt", "adopt_book", "area_jobs", "beside", "bring_in", "bring_surface",
    "budget_curve", "check", "compare_plans", "deliver_all", "draw_area_maps", "draw_map",
    "explain", "keep_standards", "load_season", "map_words", "plan", "plan_season", "quiet",
    "read_backgrounds", "report", "save_report", "scenario", "sheet_book", "standards_for",
    "sweep", "the_time", "windows_of", "write_area_maps", "write_index", "write_report",
    "write_season", "write_sheet_book", "write_sheets",
]  # fmt: skip
