"""
hydrantgis: keep a water utility's fire hydrants at the right height.

The run from source layers to a season's list reads top to bottom in `hydrantgis.job`;
the rooms below it are told in DEVELOPERS.md.
"""

__version__ = "0.1.0"
