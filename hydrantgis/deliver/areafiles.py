"""
Area maps as files: one PDF with all pages, and a PNG of the map of each area.
"""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING

from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from hydrantgis.deliver.areamaps import AreaSheet

_LONGEST = 40
_DPI = 130


def area_file_name(area_id: str | None, taken: Iterable[str] = ()) -> str:
    """
    Return the name of the PNG of an area, which every file system can hold.

    An id that had to be changed for it, or whose name is taken, is told apart by a digest.

    Parameters
    ----------
    area_id
        As the layer has it; None for hydrants outside all areas.
    taken
        Names that are there already.

    Examples
    --------
    >>> area_file_name("A4"), area_file_name(None)
    ('area_A4.png', 'area_none.png')
    >>> area_file_name("../x y")
    'area_x_y-46c740.png'
    """
    if area_id is None:
        return "area_none.png"
    plain = re.sub(r"[^A-Za-z0-9-]+", "_", area_id).strip("_")[:_LONGEST]
    name = f"area_{plain}.png"
    others = {other.casefold() for other in (*taken, "area_none.png")}
    if not plain or plain != area_id or name.casefold() in others:
        digest = hashlib.sha256(area_id.encode("utf-8", "surrogatepass")).hexdigest()[:6]
        name = f"area_{plain or 'id'}-{digest}.png"
    return name


def save_area_maps(sheets: Iterable[AreaSheet], folder: Path, *, title: str) -> list[Path]:
    """
    Write `areas.pdf` with all pages, its text as text, and `area_<id>.png` of each map.

    Parameters
    ----------
    sheets
        From `hydrantgis.deliver.areamaps.area_sheets`; each is let go once it is written.
    folder
        Where the files go; made where it is not there.
    title
        That stands in the PDF.

    Returns
    -------
    paths
        The PDF first.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_pdf import PdfPages

    paths = [folder / "areas.pdf"]
    told = {"Title": title, "CreationDate": None, "Creator": None, "Producer": None}
    with (
        mpl.rc_context({"pdf.fonttype": 42}),
        replacing(paths[0]) as fresh,
        PdfPages(fresh, metadata=told) as book,
    ):
        for sheet in sheets:
            name = area_file_name(sheet.area_id, [path.name for path in paths])
            with replacing(folder / name) as picture:
                sheet.pages[0].savefig(picture, format="png", dpi=_DPI, metadata={"Software": None})
            paths.append(folder / name)
            for page in sheet.pages:
                book.savefig(page)
    return paths
