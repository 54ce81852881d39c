"""
Outlet and flange before and after the job on one scale, beside the windows that they must end in.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hydrantgis.standards.rules import HeightRule, Window

_WIDE_PT, _TALL_PT, _FROM_PT, _UNDER_PT = 262.0, 59.0, 38.0, 11.5
_TRACKS = {"outlet": 8.0, "flange": 31.0}
_BEYOND_IN = 4.0
"""So far the scale reaches beyond what stands on it. [in]"""
_RING = 'r="3.4" fill="#fff" stroke="#000" stroke-width="1.3"'


def height_scale(row: Mapping[str, Any], rule: HeightRule) -> dict[str, Any] | None:
    """
    The heights of a job as a picture, like those of `hydrantgis.deliver.sheetmap`.

    Parameters
    ----------
    row
        With heights before and after.
    rule
        With the windows.

    Returns
    -------
    picture
        `svg`, `labels`, `width` and `height`; None where no height of the outlet is known. A ring
        is before, a dot is after, a gray bar is the window.
    """
    tracks = {
        "outlet": (row["outlet_height_in"], row["outlet_height_after_in"], rule.window),
        "flange": (row["flange_height_in"], row["flange_height_after_in"], rule.flange),
    }
    told = {name: track for name, track in tracks.items() if not pd.isna(track[0])}
    if "outlet" not in told:
        return None
    every = [0.0]
    for before, after, window in told.values():
        every += [float(v) for v in (before, after, window.lo_in, window.hi_in)
                  if not pd.isna(v) and math.isfinite(v)]  # fmt: skip
    low, high = min(every) - _BEYOND_IN, max(every) + _BEYOND_IN
    share = (_WIDE_PT - _FROM_PT - 4) / (high - low)

    def at(height_in: float) -> float:
        return round(_FROM_PT + (min(max(height_in, low), high) - low) * share, 1)

    grade = at(0.0)
    marks = [f'<path d="M{grade} 1V{_TALL_PT - 10}" stroke="#000" stroke-dasharray="2 1.5"/>']
    labels = [_label("grade", grade, _TALL_PT - 5, "center")]
    for name, (before, after, window) in told.items():
        y = _TRACKS[name]
        labels.append(_label(name, 0.0, y, "left"))
        marks += _track(at, y, window, float(before), None if pd.isna(after) else float(after))
        labels += _limits(at, y, window) if window.limited else []
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE_PT:g} {_TALL_PT:g}" '
        f'width="{_WIDE_PT:g}pt" height="{_TALL_PT:g}pt">{"".join(marks)}</svg>'
    )
    return {"svg": svg, "labels": labels, "width": _WIDE_PT, "height": _TALL_PT}


def _track(at: Any, y: float, window: Window, before: float, after: float | None) -> list[str]:  # noqa: ANN401
    """Window, way, ring and dot of one of the two."""
    marks = []
    if window.limited:
        left, right = at(window.lo_in), at(window.hi_in)
        marks.append(
            f'<rect x="{left}" y="{y - 6}" width="{round(right - left, 1)}" height="12" '
            'fill="#d9d9d9" stroke="#000" stroke-width="0.6"/>'
        )
    if after is not None:
        marks.append(
            f'<path d="M{at(before)} {y}H{at(after)}" stroke="#000" stroke-width="1.2"/>'
            f'<circle cx="{at(after)}" cy="{y}" r="4"/>'
        )
    return [*marks, f'<circle cx="{at(before)}" cy="{y}" {_RING}/>']


def _limits(at: Any, y: float, window: Window) -> list[dict[str, Any]]:  # noqa: ANN401
    """The ends of a window, under them."""
    ends = [end for end in (window.lo_in, window.hi_in) if math.isfinite(end)]
    return [_label(f"{end:g}", at(end), y + _UNDER_PT, "center") for end in ends]


def _label(text: str, x: float, y: float, side: str) -> dict[str, Any]:
    return {"t": text, "x": x, "y": y, "side": side, "kind": "bar", "angle": 0}
