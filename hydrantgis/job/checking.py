"""
Verdict and remedy of every hydrant in a register.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.assess import check as assess
from hydrantgis.deliver.provenance import provenance
from hydrantgis.deliver.styles import layer_styles
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.results import (
    AREA_FIGURES,
    CHECKED,
    GRADES,
    OUTLET_HEIGHTS,
    REMEDY_LAYER,
)
from hydrantgis.ground.tables import (
    AREAS,
    EXCEPTIONS,
    FACILITIES,
    MAINS,
    PROVENANCE,
    STREETS,
    VALVES,
)
from hydrantgis.heights.drift import drifts
from hydrantgis.job.heights import Heights, heights_of
from hydrantgis.job.moment import quiet
from hydrantgis.job.standing import standards_for, texts_of
from hydrantgis.register.geopackage import write_geopackage
from hydrantgis.register.store import Register
from hydrantgis.season.areas import area_of
from hydrantgis.season.totals import area_figures

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    from hydrantgis.ground.table import Table
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.rules import HeightRule


@dataclass(frozen=True, slots=True)
class Checked:
    """
    The result of a check.

    Attributes
    ----------
    table
        The `checked` table.
    heights
        What the verdicts rest on.
    areas, mains, streets, facilities, valves
        What else it was made from, for maps and lists.
    exceptions
        Rows that never came into the register, and findings of the check.
    findings
        What the check noticed.
    provenance
        What the result rests on.
    moment
        When the register was last added to; files are stamped with it.
    """

    table: gpd.GeoDataFrame
    heights: Heights
    areas: gpd.GeoDataFrame
    mains: gpd.GeoDataFrame
    streets: gpd.GeoDataFrame
    facilities: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    exceptions: gpd.GeoDataFrame
    findings: pd.DataFrame
    provenance: pd.DataFrame
    rule: HeightRule
    kits: KitCatalogue
    moment: dt.datetime

    @property
    def hydrants(self) -> gpd.GeoDataFrame:
        """The `hydrants` table."""
        return self.heights.hydrants

    def drifts(self) -> pd.DataFrame:
        """The `drifts` table: how fast heights change, of judged hydrants with two days."""
        window = self.rule.window
        heights = self.heights
        told = drifts(
            self.hydrants, heights.of_their_days(self.rule), lo_in=window.lo_in, hi_in=window.hi_in,
            since=np.fmax(heights.changed_on, heights.fitted_on),
        )  # fmt: skip
        # over ground that has changed at once the readings of before tell of no drift
        judged = self.table["hydrant_id"][self.table["verdict"].notna() & ~heights.carried]
        return told[told["hydrant_id"].isin(judged)].reset_index(drop=True)

    def counts(self) -> dict[str, int]:
        """How many hydrants, how many judged and measured, how many of each verdict."""
        verdict = self.table["verdict"]
        by = verdict.value_counts()
        each = {name: int(by.get(name, 0)) for name in CHECKED["verdict"].allowed}
        return {
            "hydrants": len(verdict),
            "not_judged": int(verdict.isna().sum()),
            "measured": sum(each.values()) - each["unmeasured"],
            **each,
        }

    def write(self, path: Path | str) -> None:
        """
        Write the GeoPackage.

        Areas with figures, grades and outlets stand in it where there is anything to tell of them;
        a desktop GIS opens hydrants and areas in the colors of the map.
        """
        needs = self.table["remedy"].notna() & (self.table["remedy"] != "none")
        remedies = REMEDY_LAYER.conform(self.table[needs].reset_index(drop=True))
        layers: list[tuple[Table, pd.DataFrame]] = [
            (CHECKED, self.table), (EXCEPTIONS, self.exceptions), (PROVENANCE, self.provenance),
            (REMEDY_LAYER, remedies),
        ]  # fmt: skip
        if len(self.areas):
            layers.append((AREA_FIGURES, area_figures(self.table, self.areas)))
        grades, outlets = self.heights.grade_table(), self.heights.outlet_table(self.rule)
        layers += [(t, f) for t, f in ((GRADES, grades), (OUTLET_HEIGHTS, outlets)) if len(f)]
        write_geopackage(Path(path), layers, moment=self.moment, styles=layer_styles())

    def write_also(self, folder: Path | str, kinds: Sequence[str]) -> list[Path]:
        """
        Write the checked layer in formats of other software.

        Parameters
        ----------
        folder
            Where the files go.
        kinds
            Of `hydrantgis.deliver.layers.FORMATS`.

        Raises
        ------
        WordsError
            There is no such format, or it needs a CRS and the layer has none.
        """
        from hydrantgis.deliver.layers import write_layer

        return [
            write_layer(Path(folder), CHECKED, self.table, kind, moment=self.moment)
            for kind in dict.fromkeys(kinds)
        ]


def check(
    register: Path | str,
    *,
    rule: str | None = None,
    kits: str | None = None,
    outlet: str | None = None,
    command: str = "library call",
    tell: Callable[[str], None] = quiet,
) -> Checked:
    """
    Verdict and remedy of every hydrant in the register.

    Parameters
    ----------
    register
        The register's file.
    rule, kits
        An id that ships or a TOML file; where None, what the register keeps.
    outlet
        Which outlet is judged, where the rule leaves it open.
    command
        What was typed, for the provenance.
    tell
        Told each stage of the work.

    Raises
    ------
    HydrantGISError
        No rule or kits are named, or the register cannot be read.
    """
    store = Register(Path(register))
    height_rule, catalogue = standards_for(store, rule, kits)
    height_rule = height_rule.judging(outlet)
    tell(f"reading {store.path.name}")
    areas = gpd.GeoDataFrame(store.read(AREAS))
    tell("heights")
    heights = heights_of(store, height_rule)
    hydrants = heights.hydrants
    tell("verdicts and remedies")
    area_ids, on_areas = area_of(hydrants, areas)
    table, on_hydrants = assess.check(
        hydrants, heights.basis, rule=height_rule, kits=catalogue, area_ids=area_ids
    )
    named = {allowance.area_id for allowance in catalogue.house.allowances} - {"*"}
    strange = sorted(named - set(areas["area_id"]))
    on_house = findings("allowance-area-unknown", table="areas", keys=strange, column="area_id")
    noticed = join_findings(heights.findings, on_areas, on_hydrants, on_house)
    return Checked(
        table=table,
        heights=heights,
        areas=areas,
        mains=gpd.GeoDataFrame(store.read(MAINS)),
        streets=gpd.GeoDataFrame(store.read(STREETS)),
        facilities=gpd.GeoDataFrame(store.read(FACILITIES)),
        valves=gpd.GeoDataFrame(store.read(VALVES)),
        exceptions=_exceptions(store, noticed, hydrants),
        findings=noticed,
        provenance=provenance(
            store, height_rule, catalogue, texts=texts_of(store, rule, kits), command=command
        ),
        rule=height_rule,
        kits=catalogue,
        moment=store.recorded_at(),
    )


def _exceptions(
    store: Register, noticed: pd.DataFrame, hydrants: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Rows put aside at intake, then what the check noticed, at the hydrant where it is one."""
    where = pd.Series(hydrants.geometry.array, index=hydrants["hydrant_id"])
    flagged = noticed.assign(outcome="flagged")
    # a shot may have the number of a hydrant
    keys = flagged["key"].where(flagged["table"].isin(["hydrants", "readings", "checked"]))
    points = gpd.GeoSeries(keys.map(where).to_numpy(dtype=object), crs=store.crs)
    told = EXCEPTIONS.conform(gpd.GeoDataFrame(flagged, geometry=points))
    both = [frame for frame in (store.exceptions(), told) if len(frame)]
    if not both:
        return gpd.GeoDataFrame(EXCEPTIONS.empty(store.crs))
    frame = EXCEPTIONS.conform(gpd.GeoDataFrame(pd.concat(both, ignore_index=True)))
    return gpd.GeoDataFrame(frame).set_crs(store.crs, allow_override=True)
