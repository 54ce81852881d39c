"""
The words that the file commands share, declared once.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Source = Annotated[
    str,
    typer.Argument(help="A file (vector layer, CSV, XLSX, OSM PBF) or postgresql:// address."),
]
RegisterFile = Annotated[
    Path, typer.Option("--register", help="The register (GeoPackage).", show_default=True)
]
Rule = Annotated[
    str | None,
    typer.Option(help="Height rule: an id of `rules list`, or a TOML file; else the kept one."),
]
Kits = Annotated[
    str | None,
    typer.Option(help="Kit catalogue: an id of `kits list`, or a TOML file; else the kept one."),
]
Outlet = Annotated[
    str | None,
    typer.Option(help="Judge this outlet: hose, pumper, lowest or any; else the rule's."),
]
Crs = Annotated[str | None, typer.Option(help="CRS of the source, for example EPSG:2249.")]
Layer = Annotated[str | None, typer.Option(help="Layer of the source, where it has several.")]
Profile = Annotated[
    Path | None, typer.Option(help="TOML file that says how the source is to be read.")
]
Out = Annotated[Path, typer.Option(help="Where the results go.")]
Strict = Annotated[bool, typer.Option("--strict", help="Exit 3 where the data have errors.")]
Json = Annotated[bool, typer.Option("--json", help="JSON on standard output.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Do everything but write.")]
Explain = Annotated[
    str | None, typer.Option("--explain", metavar="HYDRANT", help="Tell all about one hydrant.")
]
Quiet = Annotated[bool, typer.Option("--quiet", help="No word of progress.")]
Fields = Annotated[
    list[str] | None, typer.Option("--field", help="column=FIELD, once for each column.")
]
Units = Annotated[
    list[str] | None,
    typer.Option("--unit", help="column=UNIT of bare numbers: in ft ftUS yd mm cm m km; gpm l/s."),
]
Spellings = Annotated[
    list[str] | None, typer.Option("--spelling", help="WORD=UNIT, for units typed wrongly.")
]
Values = Annotated[
    list[str] | None, typer.Option("--value", help="column:WORD=ALLOWED, for words of the source.")
]
DateOrder = Annotated[str | None, typer.Option(help="mdy or dmy, for dates such as 03/04/2024.")]
Near = Annotated[
    str | None,
    typer.Option(
        metavar="LAT,LON", help="Where the town is, to find the CRS and to hold points against."
    ),
]
Places = Annotated[
    list[str] | None,
    typer.Option("--place", help="x=FIELD and y=FIELD, shape=FIELD, latlon=FIELD or lonlat=FIELD."),
]
SwapXy = Annotated[
    bool, typer.Option("--swap-xy", help="The source has X and Y the wrong way round.")
]
Encoding = Annotated[
    str | None, typer.Option(help="How letters are written: utf-8, cp1252, ...; else found out.")
]
HeaderRow = Annotated[
    int | None, typer.Option(min=1, help="Row of a table that holds the names of the fields.")
]
Order = Annotated[
    str | None,
    typer.Option(
        help="Columns of a point file without names, a letter each: P point, N north, E east, "
        "Z elevation, D description, - none."
    ),
]
Decimal = Annotated[str | None, typer.Option(help="Decimal mark of numbers typed as text: . or ,")]
Beyond = Annotated[
    bool,
    typer.Option("--beyond", help="The layer lies elsewhere than the register's hydrants."),
]
AllowRemote = Annotated[
    bool, typer.Option("--allow-remote", help="Fetch a source from the web (http, https).")
]
WriteProfile = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Write what these words say as a profile, for next year."),
]
NumberRows = Annotated[
    str | None,
    typer.Option(metavar="PREFIX", help="Make ids from this and the row's number, where none is."),
]
DEFAULT_REGISTER = Path("register.gpkg")
