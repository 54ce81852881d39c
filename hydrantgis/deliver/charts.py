"""
Charts as files: the same chart has the same bytes.
"""

from __future__ import annotations

import io
import re
from functools import cache
from typing import TYPE_CHECKING

from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from matplotlib.figure import Figure


FONT = "DejaVu Sans"
"""It comes with matplotlib, so that every machine draws the same."""
_DATELESS = {"Date": None, "Creator": None}


@cache
def _glyphs() -> frozenset[int]:
    from matplotlib import font_manager

    return frozenset(font_manager.get_font(font_manager.findfont(FONT)).get_charmap())


def printable(text: str) -> str:
    """
    Text on one line; a sign that the font of the charts lacks becomes an empty box.

    Examples
    --------
    >>> printable("Mill  Road")
    'Mill Road'
    """
    return "".join(c if ord(c) in _glyphs() else "\u25a1" for c in " ".join(text.split()))


def svg_of(figure: Figure) -> str:
    """
    A chart as text of SVG, to be set into a page: words stay words, and the ground is the page's.

    Parameters
    ----------
    figure
        The chart; its ground is taken away.
    """
    import matplotlib as mpl

    figure.patch.set_alpha(0.0)
    for axes in figure.axes:
        axes.patch.set_alpha(0.0)
    told = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": "chart", "svg.fonttype": "none"}):
        figure.savefig(told, format="svg", metadata=_DATELESS)
    # a page takes the picture alone, without what stands before it in a file
    return re.sub(r"^.*?(?=<svg)", "", told.getvalue(), count=1, flags=re.DOTALL)


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
