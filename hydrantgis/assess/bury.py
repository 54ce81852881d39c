"""
What a longer or shorter bury brings with it: torque, frost cover, the drain.

References
----------
.. [1] AWWA C502-18, 4.5.5: the operating torque is stated for burys up to 5 ft (second hand).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

TORQUE_BURY_FT = 5.0
"""Beyond this no standard states the operating torque [1]_. [ft]"""
DEEPER_IN = 18.0
"""A drain that lies so much deeper is worth a look: common practice, no source. [in]"""


def bury_notes(checked: pd.DataFrame) -> dict[str, NDArray[np.bool_]]:
    """
    Which hydrants a note about their bury concerns, by finding code, shape (n,) each.

    Parameters
    ----------
    checked
        The `checked` table.

    Returns
    -------
    notes
        `bury-beyond-torque-range` where a kit or a replacement takes the bury beyond that range or
        further beyond it, `cover-less` where a shorter bury leaves less ground over the inlet pipe,
        `drain-deeper` where a kit leaves the drain `DEEPER_IN` deeper below the ground.

    Examples
    --------
    >>> import pandas as pd
    >>> jobs = pd.DataFrame({"raise_in": [18.0, -6.0], "bury_after_ft": [7.0, 3.5],
    ...                      "kit_id": ["E18", None], "remedy": ["extend", "lower"]})
    >>> [rows.tolist() for rows in bury_notes(jobs).values()]
    [[True, False], [False, True], [True, False]]
    """
    raised = checked["raise_in"].to_numpy(dtype=np.float64)
    bury = checked["bury_after_ft"].to_numpy(dtype=np.float64)
    kit = checked["kit_id"].notna().to_numpy()
    up = raised > 0
    return {
        "bury-beyond-torque-range": up & (bury > TORQUE_BURY_FT),
        "cover-less": (checked["remedy"] == "lower").to_numpy() & (raised < 0),
        "drain-deeper": kit & (raised >= DEEPER_IN),
    }
