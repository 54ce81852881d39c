"""
Coded values: what a source's own table of codes says, and what the user's does.

A GeoPackage tells codes in its schema extension (OGC 12-128, extension F.9), a file geodatabase in
a table of its own. A library hands over the bare codes; the labels are read here.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

from hydrantgis.ground.errors import some
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.text import as_text
from hydrantgis.intake.still import is_logged

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from xml.etree.ElementTree import Element

    import pandas as pd

    from hydrantgis.intake.layers import Layer, Source

_CODED = "GPCodedValueDomain2"


def domains_of(source: Source, layer: Layer) -> dict[str, dict[str, str]]:
    """
    Field, code and label, as far as the source has a table of codes.

    A damaged table of codes tells nothing: the codes then stand as they are.
    """
    if source.driver == "GPKG":
        return _of_geopackage(source, layer)
    if source.driver == "OpenFileGDB":
        return _of_geodatabase(source, layer)
    return {}


def _of_geopackage(source: Source, layer: Layer) -> dict[str, dict[str, str]]:
    query = """
        SELECT c.column_name, v.value, v.description
        FROM gpkg_data_columns c JOIN gpkg_data_column_constraints v
          ON v.constraint_name = c.constraint_name
        WHERE c.table_name = ? AND v.constraint_type = 'enum' AND v.description IS NOT NULL
    """
    found: dict[str, dict[str, str]] = {}
    # a log that a reader makes beside the file would stay there
    alone = "&immutable=1" if is_logged(source.path) else ""
    address = f"{source.path.resolve().as_uri()}?mode=ro{alone}"
    try:
        with closing(sqlite3.connect(address, uri=True)) as connection:
            for column, value, label in connection.execute(query, (layer.name,)):
                found.setdefault(str(column), {})[str(value)] = str(label)
    except sqlite3.DatabaseError:
        return {}
    return found


def _of_geodatabase(source: Source, layer: Layer) -> dict[str, dict[str, str]]:
    import pyogrio
    import pyogrio.errors

    try:
        items = pyogrio.read_dataframe(
            source.address, layer="GDB_Items", read_geometry=False, LIST_ALL_TABLES="YES"
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError):
        return {}
    return domains_in(items["Definition"].dropna().tolist(), layer.name)


def domains_in(definitions: list[str], layer: str) -> dict[str, dict[str, str]]:
    """
    Field, code and label out of a file geodatabase's definitions.

    Parameters
    ----------
    definitions
        XML of the column `Definition` of its items.
    layer
        Whose fields.

    Examples
    --------
    >>> codes = '<CodedValues><CodedValue><Name>Dry</Name><Code>1</Code></CodedValue></CodedValues>'
    >>> domain = f"<GPCodedValueDomain2><DomainName>B</DomainName>{codes}</GPCodedValueDomain2>"
    >>> field = "<GPFieldInfoEx><Name>KIND</Name><DomainName>B</DomainName></GPFieldInfoEx>"
    >>> layer = f"<DEFeatureClassInfo><Name>Hyd</Name>{field}</DEFeatureClassInfo>"
    >>> domains_in([domain, layer], "Hyd")
    {'KIND': {'1': 'Dry'}}
    """
    domains: dict[str, dict[str, str]] = {}
    named: dict[str, str] = {}
    for root in _parsed(definitions):
        if root.tag.endswith(_CODED):
            pairs = ((v.findtext("Code"), v.findtext("Name")) for v in root.iter("CodedValue"))
            domains[root.findtext("DomainName") or ""] = {
                str(code): str(name) for code, name in pairs if code and name
            }
        elif root.findtext("Name") == layer:
            for entry in root.iter("GPFieldInfoEx"):
                name, domain = entry.findtext("Name"), entry.findtext("DomainName")
                if name and domain:
                    named[name] = domain
    return {name: domains[domain] for name, domain in named.items() if domain in domains}


def _parsed(definitions: list[str]) -> Iterator[Element]:
    from defusedxml import ElementTree
    from defusedxml.common import DefusedXmlException

    for text in definitions:
        try:
            yield ElementTree.fromstring(text)
        except (ParseError, DefusedXmlException):
            continue


def decode(
    rows: pd.DataFrame,
    codes: Mapping[str, Mapping[str, str]],
    *,
    table: str,
    told_by: str,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Rows with labels in the place of codes; a code without a label stays and is told.

    Parameters
    ----------
    rows
        As the source has them.
    codes
        Field, code and label.
    table
        The canonical table, for findings.
    told_by
        Whose table of codes it is, for findings.

    Returns
    -------
    rows, findings
        The input is not changed.

    Examples
    --------
    >>> import pandas as pd
    >>> rows, noticed = decode(
    ...     pd.DataFrame({"KIND": [1, 2]}), {"KIND": {"1": "Dry"}}, table="hydrants", told_by="user"
    ... )
    >>> rows["KIND"].tolist(), noticed["code"].tolist()
    (['Dry', '2'], ['codes-read', 'code-unknown'])
    """
    made, noticed = {}, []
    for name, labels in codes.items():
        if name not in rows:
            continue
        text = as_text(rows[name])
        label = text.map(dict(labels))
        strange = text[text.notna() & label.isna() & ~text.isin(list(labels.values()))]
        made[name] = label.astype("str").where(label.notna(), text)
        noticed.append(
            findings(
                "codes-read", table=table, keys=["(all)"], values=[name],
                messages=f"`{name}`: codes read as the labels that the {told_by} has for them",
            )
        )  # fmt: skip
        if len(strange):
            counts = strange.value_counts()
            listed = some([f"`{code}` ({many:,})" for code, many in counts.items()], 8)
            noticed.append(
                findings(
                    "code-unknown", table=table, keys=["(several)"], values=[name],
                    messages=f"`{name}`: no label for {listed}",
                )
            )  # fmt: skip
    return rows.assign(**made), join_findings(*noticed)
