"""Which kits a hydrant belongs to, by name, main valve and year."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.assess.check import check
from hydrantgis.assess.families import family_of
from hydrantgis.standards.kits import Family, Kit

FAMILIES = (
    Family(name="Orrin", kits=(), main_valve_in=(4.5,), last_year=1999),
    Family(name="Orrin", kits=(), main_valve_in=(5.25,)),
    Family(name="orrin ", kits=(), main_valve_in=(4.5,), first_year=2000),
    Family(name="Quern", kits=()),
    Family(name="*", kits=(), main_valve_in=(5.0,)),
)

facts = st.tuples(
    st.sampled_from(["Orrin", "ORRIN ", "Quern", "Tolvey", None]),
    st.sampled_from([4.5, 5.0, 5.25, None]), st.sampled_from([1990, 1999, 2000, 2020, None]),
)  # fmt: skip


@given(rows=st.lists(facts, min_size=1, max_size=8))
def test_the_family_is_what_a_look_at_each_says(rows):
    town = pd.DataFrame(
        {
            "family": pd.Series([row[0] for row in rows], dtype="str"),
            "main_valve_in": pd.array([row[1] for row in rows], "Float64"),
            "install_date": pd.to_datetime(
                [None if row[2] is None else f"{row[2]}-07-01" for row in rows]
            ),
        }
    )
    at, why = family_of(town, FAMILIES)
    for n, (name, valve, year) in enumerate(rows):
        plain = (name or "").strip().casefold()
        named = [f for f in FAMILIES if f.name.strip().casefold() == plain and name]
        may = named or [f for f in FAMILIES if f.name == "*"]
        fits = [
            f for f in may
            if (valve is None or not f.main_valve_in or valve in f.main_valve_in)
            and (year is None or (f.first_year or 0) <= year <= (f.last_year or 9999))
        ]  # fmt: skip
        # what is taken hangs on nothing that is not recorded
        hangs = any(
            (valve is None and f.main_valve_in)
            or (year is None and (f.first_year is not None or f.last_year is not None))
            for f in fits
        )
        if len(fits) == 1 and not hangs:
            assert FAMILIES[at[n]] is fits[0]
            assert why[n] is None
        else:
            assert at[n] == -1
            assert why[n] == ("kit-make-unknown" if fits else "kit-of-another-make")


@pytest.mark.parametrize(
    ("valve", "remedy", "code"),
    [(5.25, "extend", "kit-fits"), (4.5, "review", "kit-of-another-make"),
     (None, "review", "kit-make-unknown")],
)  # fmt: skip
def test_a_kit_for_another_main_valve_is_not_ordered(
    rule_of, hydrants, heights, catalogue_of, valve, remedy, code
):
    family = Family(name="*", kits=(Kit(kit_id="E6", length_in=6.0),), main_valve_in=(5.25,))
    checked, _ = check(
        hydrants(1, main_valve_in=[valve]), heights([15.0]), rule=rule_of(18, 24),
        kits=catalogue_of(family),
    )  # fmt: skip
    assert checked["remedy"].tolist() == [remedy]
    assert checked["remedy_reason"].iloc[0].startswith(code)
