"""
The words that the file commands share, declared once.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Source = Annotated[str, typer.Argument(help="A file: vector layer, zipped shapefile, or CSV.")]
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
Quiet = Annotated[bool, typer.Option("--quiet", help="No word of progress.")]
Fields = Annotated[
    list[str] | None, typer.Option("--field", help="column=FIELD, once for each column.")
]
Units = Annotated[
    list[str] | None,
    typer.Option("--unit", help="column=UNIT of bare numbers: in ft ftUS yd mm cm m km."),
]
Spellings = Annotated[
    list[str] | None, typer.Option("--spelling", help="WORD=UNIT, for units typed wrongly.")
]
Values = Annotated[
    list[str] | None, typer.Option("--value", help="column:WORD=ALLOWED, for words of the source.")
]
DateOrder = Annotated[str | None, typer.Option(help="mdy or dmy, for dates such as 03/04/2024.")]
NumberRows = Annotated[
    str | None,
    typer.Option(metavar="PREFIX", help="Make ids from this and the row's number, where none is."),
]
DEFAULT_REGISTER = Path("register.gpkg")
