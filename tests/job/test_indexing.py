"""The page of a folder of results, from a check."""

from __future__ import annotations

import shutil

from hydrantgis import job
from hydrantgis.deliver.outputs import output_of


def test_the_demo_folder_is_told_whole(result, folder, tmp_path):
    place = tmp_path / "results"
    shutil.copytree(folder / "demo", place)
    season = job.plan(result)
    path = job.write_index(place, result, season=season, title="Tesselbrook Water District")
    page = path.read_text(encoding="utf-8")
    for file in place.iterdir():
        if file != path and not file.name.startswith("."):
            assert output_of(file.name) is not None, file.name
            assert f'href="./{file.name}"' in page, file.name
    assert "Not known" not in page
    verdict = result.table["verdict"]
    counted = {
        "Hydrants": len(verdict), "Inside": (verdict == "inside").sum(),
        "Low": (verdict == "low").sum(), "Unmeasured": (verdict == "unmeasured").sum(),
        "Kit jobs": len(season.jobs),
    }  # fmt: skip
    for name, count in counted.items():
        assert f"<dt>{name}</dt><dd>{count:,}</dd>" in page
    assert (
        path.read_bytes()
        == job.write_index(
            place, result, season=season, title="Tesselbrook Water District"
        ).read_bytes()
    )
