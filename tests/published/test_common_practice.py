"""
What crews are taught about ordinary dry-barrel hydrants.

common practice, no source. The maker's sheet governs.
"""

from __future__ import annotations

import dataclasses

from hydrantgis.standards.load import load_kits, load_rule


def test_kits_are_6_in_at_the_shortest_and_48_in_at_the_longest():
    for family in load_kits("generic").families:
        lengths = [kit.length_in for kit in family.kits]
        assert (min(lengths), max(lengths)) == (6.0, 48.0)


def test_one_extension_for_each_hydrant():
    assert load_kits("generic").house.one_extension


def test_what_a_kit_holds():
    catalogue = load_kits("generic")
    told = {use: " / ".join(str(part) for part in catalogue.parts if part.use == use)
            for use in ("extension", "repair")}  # fmt: skip
    for part in ("barrel piece", "stem piece", "extension coupling", "2 barrel gaskets", "bolts"):
        assert part in told["extension"]
    for part in ("2 breakaway flange halves", "break coupling", "1 barrel gasket", "bolts"):
        assert part in told["repair"]
    assert all("common practice, no source" in part.source for part in catalogue.parts)


def test_how_tight_the_bolts_are():
    joints = {j.joint.split(" ")[0]: j for j in load_kits("generic").joints}
    spans = {name: (j.least_torque_lbf_ft, j.most_torque_lbf_ft) for name, j in joints.items()}
    assert spans == {"head": (75, 80), "extension": (75, 80), "breakaway": (60, 60)}
    assert all("common practice, no source" in joint.source for joint in joints.values())


def test_18_in_from_outlet_centerline_to_final_grade_is_right(judge):
    checked, _ = judge(
        load_rule("bowling-green-ky-2021"),
        outlet_height_in=[18.0],
        measured_to="hose-centerline",
    )
    assert checked["verdict"].tolist() == ["inside"]


def test_the_record_after_a_12_in_extension_says_4_5_ft_where_3_5_ft_stood(judge):
    """A yard that has only 12 in kits; 11 in above grade before, 23 in after."""
    kits = load_kits("generic")
    twelve = tuple(k for k in kits.families[0].kits if k.length_in == 12.0)
    only = dataclasses.replace(kits, families=(dataclasses.replace(kits.families[0], kits=twelve),))
    checked, _ = judge(
        load_rule("nfpa24-2019"),
        kits=only,
        outlet_height_in=[11.0],
        bury_ft=3.5,
        measured_to="hose-centerline",
    )
    assert checked["remedy"].tolist() == ["extend"]
    assert checked["outlet_height_after_in"].tolist() == [23.0]
    assert checked["bury_after_ft"].tolist() == [4.5]
