"""
What a result rests on, as rows that go with it: sources, rule, kits, versions, command, cautions.
"""

from __future__ import annotations

import hashlib
from importlib import metadata
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis import __version__
from hydrantgis.ground.tables import IMPORTS, PROVENANCE
from hydrantgis.standards.load import cautions

if TYPE_CHECKING:
    from hydrantgis.register.store import Register
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.rules import HeightRule


def provenance(
    register: Register,
    rule: HeightRule,
    kits: KitCatalogue,
    *,
    texts: tuple[str, str],
    command: str,
) -> pd.DataFrame:
    """
    The `provenance` table of a check.

    Parameters
    ----------
    register
        What was judged.
    rule, kits
        By what.
    texts
        The files of the rule and of the kits, for their hashes.
    command
        What was typed.
    """
    imports = register.read(IMPORTS)
    house = kits.house
    longest = "no limit" if house.longest_total_in is None else f"{house.longest_total_in:g} in"
    items = [
        ("command", command),
        ("hydrantgis", __version__),
        *((name, metadata.version(name)) for name in ("geopandas", "pyogrio", "pyproj", "shapely")),
        ("register", register.path.name),
        ("crs", register.crs.name),
        ("rule", f"{rule.rule_id}: {rule.title}; {rule}"),
        ("rule citation", str(rule.citation)),
        ("rule address", rule.citation.address),
        ("rule read", f"{rule.citation.how_read}, {rule.citation.read_on}"),
        ("rule decision", f"{rule.decision}; confidence {rule.confidence:g} where guarded"),
        ("rule resolution", f"{rule.resolution_in:g} in, limits allowed"),
        ("rule sha256", hashlib.sha256(texts[0].encode()).hexdigest()),
        ("kits", f"{kits.catalogue_id}: {kits.title}"),
        ("kits sha256", hashlib.sha256(texts[1].encode()).hexdigest()),
        *((f"kits for {f}", " ".join(k.kit_id for k in f.kits)) for f in kits.families),
        ("kits source", kits.source),
        (
            "kits costs",
            "none" if kits.money is None else f"{kits.money}, {kits.cost_source}, {kits.cost_on}",
        ),
        ("house rule: one extension per hydrant", "on" if house.one_extension else "off"),
        ("house rule: longest total extension", longest),
        ("house rule: policy", house.policy),
        ("house rule: only what is on the shelf", "on" if house.stock_only else "off"),
        ("house rule: ground is raised by up to", f"{house.most_regrade_in:g} in"),
        *(
            (f"house rule: ground moves in area {a.area_id}", f"{a.change_in:+g} in")
            for a in house.allowances
        ),
    ]
    frame = pd.DataFrame(items, columns=["item", "value"])
    told = "source " + imports["source"] + " as " + imports["as_kind"]
    counted = (
        imports["sha256"] + "; rows in " + imports["source_rows"].astype("str") + ", accepted "
        + imports["accepted"].astype("str") + ", held " + imports["held"].astype("str")
        + ", rejected " + imports["rejected"].astype("str") + "; CRS "
        + imports["crs"].fillna("none") + " (" + imports["crs_from"].fillna("none") + ")"
    )  # fmt: skip
    sources = pd.DataFrame({"item": told, "value": counted})
    said = pd.DataFrame({"item": "caution", "value": list(cautions())})
    return PROVENANCE.conform(pd.concat([frame, sources, said], ignore_index=True))
