"""
Which family of kits a hydrant belongs to: by the name of its family, its main valve and its year.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from hydrantgis.assess.reasons import NO_KITS
from hydrantgis.standards.kits import ANY_FAMILY

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from hydrantgis.standards.kits import Allowance, Family


class Belongs(NamedTuple):
    """
    The family of kits of n hydrants.

    Its position, -1 where there is none; and why there is none, one of `NO_KITS`, else None.
    """

    family: NDArray[np.intp]
    why: NDArray[np.object_]


def family_of(hydrants: pd.DataFrame, families: Sequence[Family]) -> Belongs:
    """
    The family of kits of each hydrant.

    Parameters
    ----------
    hydrants
        With the columns `family`, `main_valve_in` and `install_date`.
    families
        Of a catalogue.

    Returns
    -------
    belongs
        Shape (n,) each.

    Notes
    -----
    Of families of one name the one takes a hydrant whose main valve and years allow it. Where that
    hangs on a valve or a year that is not recorded, nobody can tell, and none does.

    Examples
    --------
    >>> import pandas as pd
    >>> from hydrantgis.standards.kits import Family
    >>> two = [Family(name="Orrin", kits=(), main_valve_in=(size,)) for size in (4.5, 5.25)]
    >>> town = pd.DataFrame({"family": ["orrin", "Orrin", "Quern"],
    ...                      "main_valve_in": [5.25, None, 4.5], "install_date": pd.NaT})
    >>> told = family_of(town, two)
    >>> told.family.tolist(), told.why.tolist()
    ([1, -1, -1], [None, 'kit-make-unknown', 'no-kit-for-family'])
    """
    n = len(hydrants)
    named = hydrants["family"].str.strip().str.casefold().to_numpy(dtype=object, na_value="")
    valve = hydrants["main_valve_in"].to_numpy(dtype=np.float64, na_value=np.nan)
    year = hydrants["install_date"].dt.year.to_numpy(dtype=np.float64, na_value=np.nan)
    names = [family.name.strip().casefold() for family in families]
    known = np.isin(named, [name for name in names if name != ANY_FAMILY])
    same_name, fitting = np.zeros(n, dtype=np.intp), np.zeros(n, dtype=np.intp)
    result, unsure = np.full(n, -1, dtype=np.intp), np.zeros(n, dtype=bool)
    for place, (name, family) in enumerate(zip(names, families, strict=True)):  # a handful
        ours = ~known if name == ANY_FAMILY else named == name
        fits = ours.copy()
        if family.main_valve_in:
            fits &= np.isnan(valve) | np.isin(valve, family.main_valve_in)
        fits &= ~(year < (family.first_year or -np.inf)) & ~(year > (family.last_year or np.inf))
        dated = family.first_year is not None or family.last_year is not None
        unsure |= fits & ((bool(family.main_valve_in) & np.isnan(valve)) | (dated & np.isnan(year)))
        same_name += ours
        fitting += fits
        result[fits] = place
    open_ = (fitting > 1) | unsure
    result[(fitting != 1) | open_] = -1
    why = np.select([open_, (fitting == 0) & (same_name > 0)], [NO_KITS[2], NO_KITS[1]],
                    NO_KITS[0]).astype(object)  # fmt: skip
    why[result >= 0] = None
    return Belongs(result, why)


def allowance_of(
    areas: pd.Series | None, allowances: Sequence[Allowance], n: int
) -> NDArray[np.float64]:
    """
    By how much the ground at each hydrant will move after the job, shape (n,). [in]

    Parameters
    ----------
    areas
        The area of each hydrant, missing where it lies in none; None where there are no areas.
    allowances
        Of the house rules.
    n
        How many hydrants.

    Examples
    --------
    >>> import pandas as pd
    >>> from hydrantgis.standards.kits import Allowance
    >>> told = [Allowance(area_id="*", change_in=1.0), Allowance(area_id="N", change_in=2.0)]
    >>> allowance_of(pd.Series(["N", "S", None]), told, 3).tolist()
    [2.0, 1.0, 1.0]
    """
    by_area = {allowance.area_id: allowance.change_in for allowance in allowances}
    everywhere = by_area.pop(ANY_FAMILY, 0.0)
    if areas is None:
        return np.full(n, everywhere)
    moves = areas.map(by_area).fillna(everywhere)
    return np.asarray(moves.to_numpy(dtype=np.float64), dtype=np.float64)
