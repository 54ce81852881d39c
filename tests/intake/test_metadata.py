"""The accuracy of a terrain out of the metadata beside it."""

from __future__ import annotations

import pytest

from hydrantgis.intake.metadata import stated_accuracy


def beside(folder, inner, name="dem.tif.xml"):
    (folder / name).write_text(
        f"<metadata><dataqual><posacc><vertacc>{inner}</vertacc></posacc></dataqual></metadata>",
        encoding="utf-8",
    )
    return folder / "dem.tif"


@pytest.mark.parametrize(
    ("inner", "feet"),
    [
        ("<vertaccr>The vertical accuracy is RMSEz = 10 cm in open ground.</vertaccr>", 10 / 30.48),
        ("<vertaccr>tested RMSE of 0.5 feet</vertaccr>", 0.5),
        ("<qvertpa><vertaccv>0.152</vertaccv><vertacce>RMSE of check points</vertacce></qvertpa>",
         0.152 / 0.3048),
        ("<qvertpa><vertaccv>0.152</vertaccv><vertacce>95 percent</vertacce></qvertpa>", None),
        ("<vertaccr>RMSEz 9 cm open, RMSEz 25 cm under trees</vertaccr>", None),
        ("<vertaccr>RMSE was good</vertaccr>", None),
    ],
)  # fmt: skip
def test_an_rmse_counts_where_it_is_called_so_and_is_the_only_one(tmp_path, inner, feet):
    told = stated_accuracy(beside(tmp_path, inner))
    assert told.words
    assert told.rmse_z_ft == (None if feet is None else pytest.approx(feet))


def test_metadata_of_the_bare_name_count_too(tmp_path):
    path = beside(tmp_path, "<vertaccr>RMSEz: 0.1 m</vertaccr>", "dem.xml")
    assert stated_accuracy(path).rmse_z_ft == pytest.approx(0.1 / 0.3048)


@pytest.mark.parametrize(
    "text",
    ["<metadata/>", "<metadata><vertaccr>", "no xml", "",
     '<!DOCTYPE m [<!ENTITY a "RMSEz 1 cm">]><m><vertaccr>&a;</vertaccr></m>'],
)  # fmt: skip
def test_what_says_nothing_or_is_dangerous_is_none(tmp_path, text):
    (tmp_path / "dem.tif.xml").write_text(text, encoding="utf-8")
    assert stated_accuracy(tmp_path / "dem.tif") is None
    assert stated_accuracy(tmp_path / "other.tif") is None
