"""
Kit catalogues: which extension lengths there are for which hydrant family, and the house rules.

Parts, torque and fit are the maker's; a catalogue only repeats them, with where they come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SettingsError
from hydrantgis.ground.settings import SettingsReader

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

ANY_FAMILY = "*"
POLICIES = ("target", "shortest")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """One extension kit. `length_in` is how far it raises outlet and flange. [in]"""

    kit_id: str
    length_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """
    A hydrant family and the kits that fit it, shortest first.

    `name` is `*` for a family that takes every hydrant not named otherwise.
    """

    name: str
    kits: tuple[Kit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseRules:
    """
    Rules of the utility, not of any maker; each can be switched off.

    Attributes
    ----------
    one_extension
        One extension per hydrant: an extended hydrant gets an exchange, never a second kit.
    longest_total_in
        The most that kits may raise a hydrant in all; None for no limit. [in]
    policy
        `target`: the kit that ends nearest the aim of the window. `shortest`: the shortest that
        fits.
    """

    one_extension: bool = True
    longest_total_in: float | None = None
    policy: str = "target"


@dataclass(frozen=True, slots=True, kw_only=True)
class KitCatalogue:
    """What can be ordered, and the house rules for choosing."""

    catalogue_id: str
    title: str
    source: str
    read_on: dt.date
    families: tuple[Family, ...]
    house: HouseRules
    bury_step_ft: float = 0.5
    parts: tuple[str, ...] = ()

    def family(self, name: str | None) -> Family | None:
        """
        The family of that name, else the one that takes every hydrant, else None.

        Examples
        --------
        >>> import datetime as dt
        >>> every = Family(name="*", kits=(Kit(kit_id="E6", length_in=6.0),))
        >>> catalogue = KitCatalogue(catalogue_id="c", title="c", source="s",
        ...     read_on=dt.date(2026, 1, 1), families=(every,), house=HouseRules())
        >>> catalogue.family("unheard of").name
        '*'
        """
        by_name = {family.name.casefold(): family for family in self.families}
        found = by_name.get(name.strip().casefold()) if name is not None else None
        return found or by_name.get(ANY_FAMILY)


def catalogue_from_mapping(mapping: Mapping[str, Any], name: str) -> KitCatalogue:
    """
    A kit catalogue from what its file holds.

    Parameters
    ----------
    mapping
        As `tomllib` returns it.
    name
        The file's name, for messages.

    Raises
    ------
    SettingsError
        With every problem and its address.
    """
    reader = SettingsReader(mapping, name)
    reader.expect_format(1)
    catalogue_id = reader.text("catalogue_id", required=True)
    title = reader.text("title", required=True)
    source = reader.text("source", required=True)
    read_on = reader.date("read_on", required=True)
    step = reader.number("bury_step_ft", above=0)
    families: list[Family] = []
    for part in reader.parts("family", required=True):
        family = part.text("name", required=True)
        prefix = part.text("kit_prefix", required=True)
        lengths = part.numbers("lengths_in", required=True)
        if family is None or prefix is None:
            continue
        if family.casefold() in {known.name.casefold() for known in families}:
            part.problem("name", f"{family!r} stands twice")
        if any(kit.kit_id.startswith(f"{prefix}-") for known in families for kit in known.kits):
            part.problem("kit_prefix", f"{prefix!r} is that of another family")
        kits = tuple(Kit(kit_id=f"{prefix}-{length:g}", length_in=length) for length in lengths)
        families.append(Family(name=family, kits=kits))
    house = reader.part("house_rules")
    rules = HouseRules(
        one_extension=house.flag("one_extension", default=True),
        longest_total_in=house.number("longest_total_in", above=0),
        policy=house.choice("policy", POLICIES) or "target",
    )
    parts = tuple(
        f"{entry.text('quantity', required=True)} {entry.text('part', required=True)}"
        for entry in reader.parts("part")
    )
    reader.finish()
    if catalogue_id is None or title is None or source is None or read_on is None:
        raise SettingsError(f"{name} is incomplete")  # pragma: no cover - finish told it
    return KitCatalogue(
        catalogue_id=catalogue_id,
        title=title,
        source=source,
        read_on=read_on,
        families=tuple(families),
        house=rules,
        bury_step_ft=0.5 if step is None else step,
        parts=parts,
    )
