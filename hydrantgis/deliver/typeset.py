"""
PDF pages from a template and data: no file, no network, no font of the machine.

A template is a text of this package; the data reach it as JSON, so that a text from a source can
never be taken for markup. The same data give the same bytes.
"""

from __future__ import annotations

import datetime as dt
import json
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import HydrantGISError

if TYPE_CHECKING:
    from collections.abc import Mapping

    import typst

_INPUT = "data"


def _template(name: str) -> str:
    place = resources.files("hydrantgis.deliver") / "assets" / f"{name}.typ"
    return place.read_text(encoding="utf-8")


@cache
def _fonts() -> typst.Fonts:
    """The fonts that the charts are drawn in, and no other; they are embedded in the pages."""
    import matplotlib as mpl
    import typst

    place = Path(mpl.get_data_path()) / "fonts" / "ttf"
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[place])


def typeset(
    *templates: str, data: Mapping[str, Any], moment: dt.datetime, tags: bool = False
) -> bytes:
    """
    Return the pages of a template as PDF.

    Parameters
    ----------
    templates
        Names of texts in `assets`, without `.typ`, set one after another as one text. They read
        `json(bytes(sys.inputs.data))`.
    data
        What JSON can hold. A picture is a text of SVG, that `image(bytes(...))` draws.
    moment
        UTC, the day that stands in the file as that of its making.
    tags
        Whether the structure is kept for reading aloud; the file is larger by some times.

    Returns
    -------
    pdf
        The file.

    Raises
    ------
    HydrantGISError
        The template has a fault, or asks for a font that is not there; a fault of this program.
    """
    import typst

    text = "\n".join(_template(name) for name in templates)
    sent = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    try:
        pdf, warned = typst.compile_with_warnings(
            text.encode("utf-8"), format="pdf", font_paths=_fonts(),
            sys_inputs={_INPUT: sent}, timestamp=moment.replace(tzinfo=dt.UTC), pdf_tags=tags,
        )  # fmt: skip
    except typst.TypstError as error:
        raise _fault(templates, str(error.diagnostic)) from error
    if warned:
        raise _fault(templates, "; ".join(str(warning.message) for warning in warned))
    if not isinstance(pdf, bytes):
        raise _fault(templates, "no PDF")
    return pdf


def _fault(templates: tuple[str, ...], found: str) -> HydrantGISError:
    return HydrantGISError(
        "the pages could not be set", where=" + ".join(templates), found=found,
        do="report it as a fault of the program",
    )  # fmt: skip
