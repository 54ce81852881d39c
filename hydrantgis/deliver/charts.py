"""
Charts as files: the same chart has the same bytes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from matplotlib.figure import Figure


def save_chart(figure: Figure, paths: Iterable[Path]) -> None:
    """
    Write a chart, as PNG or SVG by the names of its files.

    Parameters
    ----------
    figure
        The chart.
    paths
        Ending in `.png` or `.svg`; each replaced as a whole.
    """
    import matplotlib as mpl

    # no day, no program's name and no drawn lots
    with mpl.rc_context({"svg.hashsalt": "chart"}):
        for path in paths:
            with replacing(path) as fresh:
                dateless = {"Date": None} if path.suffix == ".svg" else {"Software": None}
                figure.savefig(fresh, format=path.suffix[1:], metadata=dateless)
