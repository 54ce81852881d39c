"""
What numbers of a column usually are, and what that says of a unit or of a mark for `not known`.

The ranges are common practice, no source. They only ever raise a question: no unit is taken from
them, and no value is changed but marks that no hydrant can have.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.ground.units import LengthUnit, factor

if TYPE_CHECKING:
    from hydrantgis.ground.table import Column

USUAL: dict[str, tuple[float, float]] = {
    "outlet_height_in": (10, 48),
    "flange_height_in": (0.5, 12),
    "bury_ft": (2.5, 12),
    "hose_outlet_in": (1.5, 4.5),
    "pumper_outlet_in": (2.5, 6),
    "main_valve_in": (3, 8),
    "installed_extension_in": (5, 60),
    "size_in": (3, 48),
}
"""Where the middle value of a column usually lies, in the column's unit."""
MARKS = (-99999.0, -9999.0, -999.0, -99.0, -1.0, 999.0, 9999.0, 99999.0)
"""Numbers that stand for `not known` where they cannot be values."""
_FEWEST = 5
_SHARE = 0.02
_TRIED = (LengthUnit.IN, LengthUnit.FT, LengthUnit.MM, LengthUnit.CM, LengthUnit.M)


def looks_like(
    numbers: pd.Series, column: Column, *, read_as: LengthUnit | None = None
) -> str | None:
    """
    The unit in which numbers would be usual; None where that cannot be told, or they are.

    Parameters
    ----------
    numbers
        As the source has them, or in the column's unit where `read_as` is told.
    column
        What they shall be.
    read_as
        The unit that they were read in.

    Examples
    --------
    >>> from hydrantgis.ground.tables import READINGS
    >>> heights = pd.Series([1.5, 1.6, 1.7, 1.8, 2.0])
    >>> looks_like(heights, READINGS["outlet_height_in"])
    'ft'
    """
    usual = USUAL.get(column.name)
    filled = numbers[numbers.notna() & (numbers > 0)]
    if usual is None or column.unit is None or len(filled) < _FEWEST:
        return None
    middle = float(filled.median())
    if read_as is not None:
        middle *= factor(column.unit, read_as)
        if usual[0] <= middle * factor(read_as, column.unit) <= usual[1]:
            return None
    fits = [u for u in _TRIED if usual[0] <= middle * factor(u, column.unit) <= usual[1]]
    fits = [unit for unit in fits if unit is not read_as]
    return " or ".join(fits) or None


def sentinels_in(
    cells: pd.Series, column: Column, unit: LengthUnit | None, said: tuple[str, ...]
) -> tuple[pd.Series, list[tuple[str, str]]]:
    """
    Which cells are marks for `not known`, and what was noticed.

    Parameters
    ----------
    cells
        Numbers, or text.
    column
        A mark that its limits allow is left alone.
    unit
        Of bare numbers.
    said
        Marks that the user names.

    Returns
    -------
    marks
        Same index.
    remarks
        Finding codes with a message.

    Examples
    --------
    >>> from hydrantgis.ground.tables import HYDRANTS
    >>> cells = pd.Series([4.0, -9999.0])
    >>> sentinels_in(cells, HYDRANTS["bury_ft"], LengthUnit.FT, ())[0].tolist()
    [False, True]
    """
    numeric = pd.api.types.is_numeric_dtype(cells.dtype)
    numbers = cells.astype("float64") if numeric else pd.to_numeric(cells, errors="coerce")
    told = pd.to_numeric(pd.Series(said, dtype="str"), errors="coerce").dropna()
    marks = numbers.isin(told.tolist())
    if not numeric:
        marks |= cells.isin(said)
    scale = 1.0 if unit is None or column.unit is None else factor(unit, column.unit)
    if column.limited:
        known = numbers.isin(MARKS) & column.outside(numbers * scale)
        if unit is None and column.unit is not None:
            # the rows name their units: a mark is what no unit makes a value of
            for tried in _TRIED:
                known &= column.outside(numbers * factor(tried, column.unit))
        marks |= known
    remarks = []
    if marks.any():
        spelled = ", ".join(f"`{v}`" for v in cells[marks].astype("str").unique()[:3])
        remarks.append(
            (
                "sentinel-value",
                f"{int(marks.sum()):,} cells hold {spelled}: left blank as not known",
            )
        )
    usual = USUAL.get(column.name)
    left = numbers.mask(marks).dropna()
    if usual is not None and len(left) and unit is not None:
        often = left.value_counts()
        odd = (often >= max(_FEWEST, _SHARE * len(left))) & (
            (often.index <= 0) | (often.index * scale > 2 * usual[1])
        )
        remarks += [
            ("value-too-often", f"`{value:g}` stands in {many:,} of {len(left):,} rows")
            for value, many in often[odd].head(2).items()
        ]
    return marks, remarks
