"""
What a newer hydrant layer changed, in a few lines and as JSON.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from hydrantgis.cli.talk import grid, put
from hydrantgis.ground.errors import some

if TYPE_CHECKING:
    import pandas as pd

    from hydrantgis.register.additions import Added

_KINDS = {
    "new": "",
    "gone": "retired, never deleted",
    "reappeared": "were gone, and are in service again unless the layer says otherwise",
    "renumbered": "a new id stands where one that is gone stood",
    "moved": "",
    "changed": "",
}
"""Kinds of change in the order in which they are told."""


def put_changes(added: Added, *, dry_run: bool) -> None:
    """Tell what differs from the register; nothing where it had no hydrants."""
    if added.vintage is None:
        return
    found, frame = added.vintage, added.changes
    put("Changes" + (" (nothing was written)" if dry_run else ""))
    share = f"{found.held:,} of its {found.living:,} hydrants"
    if found.of is not None:
        put(f"  a newer vintage of {found.source}: it holds {share}")
    elif found.living:
        put(f"  no newer vintage of an earlier layer, of which it holds {share}: nothing is gone")
        put("  -> --replace says that it is the whole inventory")
    rows = []
    for kind, about in _KINDS.items():
        some_rows = frame[frame["change"] == kind]
        ids = some_rows["hydrant_id"].drop_duplicates()
        if not len(ids):
            continue
        told = _about(kind, some_rows) or about
        first = some(ids.tolist(), 3)
        rows.append((f"{len(ids):,}", kind, f"{first}: {told}" if told else first))
    rows.append((f"{added.unchanged:,}", "unchanged", ""))
    grid(rows, right=(0,), indent=4)


def _about(kind: str, rows: pd.DataFrame) -> str:
    if kind == "moved":
        feet = rows["moved_ft"]
        return f"half of them {feet.median():,.1f} ft or less, the farthest {feet.max():,.0f} ft"
    if kind == "changed":
        columns = rows["column"].value_counts()
        return some([f"{name} {many:,}" for name, many in columns.items()], 5)
    if kind == "renumbered":
        first = rows.iloc[0]
        return f"`{first['hydrant_id']}` stands where `{first['other_id']}` stood, and so on"
    return ""


def changes_told(added: Added) -> dict[str, Any] | None:
    """The same for JSON: counts, counts by column, and every change."""
    if added.vintage is None:
        return None
    frame = added.changes
    ids = frame.drop_duplicates(["change", "hydrant_id"])["change"].value_counts()
    changed = frame[frame["change"] == "changed"]["column"].value_counts()
    return {
        "vintage_of": added.vintage.of,
        "vintage_held": added.vintage.held,
        "vintage_living": added.vintage.living,
        "counts": {kind: int(ids.get(kind, 0)) for kind in _KINDS},
        "unchanged": added.unchanged,
        "changed_columns": {str(name): int(many) for name, many in changed.items()},
        "rows": json.loads(frame.to_json(orient="records")),
    }
