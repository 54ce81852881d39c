"""A register of a few hydrants made for one test, from a layer, areas and a list of readings."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import shapely

from hydrantgis import demo as district
from hydrantgis import job
from hydrantgis.intake.words import IntakeWords

NOW = dt.datetime(2026, 9, 30, 12)
X, Y, STEP = 727_800.0, 966_900.0, 200.0


def made(
    folder: Path,
    *,
    areas: Sequence[tuple[str, str]] = (),
    an_area: int = 4,
    readings: Sequence[tuple[str, str, float]] = (),
    ids: Sequence[str] | None = None,
    facts: dict[str, list] | None = None,
) -> Path:
    """
    A register of `an_area` hydrants in each area, 0001 and up; areas lie side by side.

    Readings are hydrant, day and height in inches, by tape.
    """
    folder.mkdir(exist_ok=True)
    path, many = folder / "register.gpkg", an_area * max(len(areas), 1)
    names = [f"{k:04d}" for k in range(1, many + 1)] if ids is None else list(ids)
    points = [
        shapely.Point(X + STEP * (k // an_area), Y + STEP * (k % an_area))
        for k in range(len(names))
    ]
    told = {"hydrant_id": names, "barrel": "dry", "family": "Orrin A", **(facts or {})}
    frame = gpd.GeoDataFrame(told, geometry=points, crs=3736, index=range(len(names)))
    frame.to_file(folder / "hydrants.gpkg", geometry_type="Point")
    job.bring_in(path, folder / "hydrants.gpkg", "hydrants", words=IntakeWords(), now=NOW)
    if areas:
        boxes = [
            shapely.box(X + STEP * k - 90, Y - 90, X + STEP * k + 90, Y + STEP * (an_area or 1))
            for k in range(len(areas))
        ]
        frame = gpd.GeoDataFrame(
            {"area_id": [a for a, _ in areas], "area_title": [b for _, b in areas]},
            geometry=boxes, crs=3736,
        )  # fmt: skip
        frame.to_file(folder / "areas.gpkg")
        job.bring_in(path, folder / "areas.gpkg", "areas", words=IntakeWords(), now=NOW)
    if readings:
        with (folder / "readings.csv").open("w", newline="", encoding="utf-8") as file:
            rows = csv.writer(file)
            rows.writerow(["hydrant_id", "reading_date", "method", "measured_to", "measured_from",
                           "outlet_height_in"])  # fmt: skip
            for hydrant, day, height in readings:
                rows.writerow([hydrant, day, "tape", "pumper-centerline", "grade", f"{height} in"])
        job.bring_in(path, folder / "readings.csv", "readings", words=IntakeWords(), now=NOW)
    data = district.folder()
    job.keep_standards(path, rule=str(data / "rule.toml"), kits=str(data / "kits.toml"), now=NOW)
    return path
