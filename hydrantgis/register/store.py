"""
The register on disk: what it holds, and the one way to add to it.
"""

from __future__ import annotations

import dataclasses
import shutil
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pyproj
from filelock import FileLock, Timeout

from hydrantgis.ground.errors import LockedError, RegisterError, UnreadableError
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import xy
from hydrantgis.ground.tables import (
    CHANGES,
    EXCEPTIONS,
    FINDINGS,
    HISTORY,
    HYDRANTS,
    IMPORTS,
    READINGS,
    REFERENCE_LAYERS,
    SETTINGS,
    SHOTS,
)
from hydrantgis.register.changes import compare, without_noise
from hydrantgis.register.events import (
    gone_now,
    imported_events,
    lineages,
    measured_events,
    readings_of,
    retired_events,
    state_after,
    told_again,
)
from hydrantgis.register.geopackage import (
    layer_names,
    read_layer,
    read_points,
    refuse_if_open,
    replacing,
    sweep,
    write_layers,
)
from hydrantgis.register.vintages import Vintage, many_gone, vintage

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator
    from pathlib import Path

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.take import Intake

FORMAT = "2"


@dataclass(frozen=True, slots=True)
class Added:
    """
    What an intake added.

    Attributes
    ----------
    rows
        Events or rows.
    known
        The same intake was there already; nothing was added.
    unchanged
        Rows that told nothing new.
    others
        Rows of a reference layer that stay from other sources.
    changes
        The `changes` table, of a hydrant layer that came into a register with hydrants.
    vintage
        What that layer is a newer vintage of.
    findings
        What was noticed in comparing it with the register.
    """

    rows: int
    known: bool
    unchanged: int
    others: int = 0
    changes: pd.DataFrame = field(default_factory=CHANGES.empty)
    vintage: Vintage | None = None
    findings: pd.DataFrame = field(default_factory=no_findings)


@dataclass(frozen=True, slots=True)
class Register:
    """
    A register file.

    Parameters
    ----------
    path
        A GeoPackage; it is made by the first intake of hydrants.
    """

    path: Path

    def exists(self) -> bool:
        """Whether the file is there."""
        return self.path.exists()

    def ground_shots(self) -> pd.DataFrame:
        """Shots on the ground, with `x` and `y` in the CRS of the register."""
        self._must_be_there()
        table = SHOTS.only(("shot_id", "elev_ft", "elev_sd_ft", "vertical_datum"))
        return read_points(self.path, table, where="shot_code = 'ground'")

    def read(self, table: Table, *, where: str | None = None) -> pd.DataFrame:
        """
        A table of the register, or the rows of it that meet an SQL condition.

        Shapes are in the CRS of the register.

        Raises
        ------
        UnreadableError, RegisterError
            The file is not there, damaged, or of another format.
        """
        self._must_be_there()
        frame = read_layer(self.path, table, where=where)
        if isinstance(frame, gpd.GeoDataFrame) and frame.crs is None:
            return frame.set_crs(self.crs)
        return frame

    def _must_be_there(self) -> None:
        """Refuse a file that is not there, is no register, or is one of another format."""
        self.settings()

    def settings(self) -> dict[str, str]:
        """
        What holds for the whole register.

        Raises
        ------
        UnreadableError, RegisterError
            The file is not there, damaged, no register, or of another format.
        """
        if not self.exists():
            raise UnreadableError(
                "there is no register", where=str(self.path), do="import a hydrant layer first"
            )
        names = layer_names(self.path)
        if SETTINGS.name not in names:
            raise RegisterError(
                "the GeoPackage is no register", where=str(self.path),
                found=f"layers {', '.join(names)}", do="name a register, or a file not yet there",
            )  # fmt: skip
        frame = read_layer(self.path, SETTINGS)
        found = dict(zip(frame["item"], frame["value"], strict=True))
        if found.get("format") != FORMAT:
            raise RegisterError(
                "the register is of a format that this version does not know",
                where=str(self.path), found=str(found.get("format")), accepted=FORMAT,
                do="use the version that wrote it",
            )  # fmt: skip
        return found

    @property
    def crs(self) -> pyproj.CRS:
        """The CRS of every layer; that of the first hydrant layer that came in."""
        return pyproj.CRS.from_wkt(self.settings()["crs"])

    def hydrants(self) -> gpd.GeoDataFrame:
        """What each hydrant is now."""
        return gpd.GeoDataFrame(self.read(HYDRANTS))

    def readings(self) -> pd.DataFrame:
        """Every reading that was ever told."""
        told = HISTORY.only((*READINGS.names, "event"))
        return readings_of(self.read(told, where="event = 'measured'"))

    def exceptions(self) -> gpd.GeoDataFrame:
        """
        Rows that were put aside and still are.

        A newer vintage of a layer takes the place of the older one, file name for file name; one of
        hydrants, whatever its file is called. Surveys add to each other: of them only the same
        bytes, read again, do.
        """
        frame, imports = self.read(EXCEPTIONS), self.read(IMPORTS)
        adding = imports["as_kind"].isin(["readings", "shots"])
        mark = imports["source"].where(~adding, imports["sha256"])
        older = imports.assign(mark=mark).duplicated(["as_kind", "mark", "layer"], "last")
        root = imports["vintage_of"].where(imports["vintage_of"].notna(), imports["import_id"])
        older |= root.duplicated("last")
        newest = imports[~older]
        return gpd.GeoDataFrame(frame[frame["import_id"].isin(newest["import_id"])])

    def recorded_at(self) -> dt.datetime:
        """When the register was last added to."""
        moments = self.read(IMPORTS)["recorded_at"]
        return pd.Timestamp(moments.max()).to_pydatetime()

    @contextmanager
    def _locked(self) -> Iterator[None]:
        lock = self.path.with_name(f".{self.path.name}.lock")
        self.path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with FileLock(lock, timeout=0):
                refuse_if_open(self.path)
                sweep(self.path)
                yield
        except Timeout as error:
            raise LockedError(
                "another run is writing to the register", where=str(self.path),
                do="wait until it has ended, and run this again",
            ) from error  # fmt: skip

    def keep_settings(self, items: dict[str, str], *, now: dt.datetime) -> None:
        """Keep more settings, such as the rule that stands for the whole register."""
        with self._locked():
            merged = {**self.settings(), **items}
            self._write([(SETTINGS, _settings_frame(merged))], now=now)

    def add(
        self,
        intake: Intake,
        *,
        now: dt.datetime,
        replace: bool = False,
        adds: bool = False,
        dry_run: bool = False,
    ) -> Added:
        """
        Add what an intake brought, all of it or nothing.

        Parameters
        ----------
        intake
            From `hydrantgis.intake.take.take`.
        now
            The time to record, in UTC.
        replace
            Of a reference layer, take away what came from other sources; of hydrants, retire all
            that the layer lacks.
        adds
            Retire no hydrant that the layer lacks.
        dry_run
            Tell what would be added and write nothing.

        Raises
        ------
        RegisterError
            The register is not there yet and these are no hydrants.
        LockedError
            Another program or run is writing.
        """
        if dry_run:
            return self._plan(intake, replace=replace, adds=adds)[1]
        with self._locked():
            layers, added, import_id = self._plan(intake, replace=replace, adds=adds)
            if added.known:
                return added
            moment = pd.Timestamp(now, tz="UTC")
            told = {"import_id": import_id, "recorded_at": moment}
            if added.vintage is not None:
                told["vintage_of"] = added.vintage.of
            record = pd.DataFrame([{**intake.record, **told}])
            notes = join_findings(intake.findings, added.findings).assign(import_id=import_id)
            layers += [
                (IMPORTS, IMPORTS.conform(record)),
                (FINDINGS, FINDINGS.conform(notes)),
                (EXCEPTIONS, self._exceptions_in(intake, import_id)),
            ]
            if not self.exists():
                items = {"format": FORMAT, "crs": _begin(intake, self.path).to_wkt()}
                layers.append((SETTINGS, _settings_frame(items)))
            self._write(layers, now=now)
            return added

    def _exceptions_in(self, intake: Intake, import_id: str) -> pd.DataFrame:
        """Exceptions with their points in the CRS of the register."""
        frame = gpd.GeoDataFrame(intake.exceptions.assign(import_id=import_id))
        crs = self.crs if self.exists() else _begin(intake, self.path)
        if intake.crs is None:
            return frame.set_crs(crs, allow_override=True)
        return frame.set_crs(intake.crs, allow_override=True).to_crs(crs)

    def _plan(
        self, intake: Intake, *, replace: bool, adds: bool
    ) -> tuple[list[tuple[Table, pd.DataFrame]], Added, str]:
        """What would be written, what that adds, and the id of the intake."""
        import_id = str(intake.record["import_id"])
        settled = Added(0, known=True, unchanged=intake.count.accepted)
        newest = stood = False
        if not self.exists():
            crs = _begin(intake, self.path)
        else:
            crs = self.crs
            if replace and not intake.count.accepted:
                raise RegisterError(
                    f"the layer has no {intake.kind} that could take the place of what stands",
                    where=str(self.path), found=str(intake.count), do="leave --replace out",
                )  # fmt: skip
            told_before, newest, stood = self._known(import_id, intake.kind)
            if newest and not replace:
                return [], settled, import_id
            # told once more, after something else or to replace it: a telling of its own
            import_id = f"{import_id}-{told_before + 1}" if told_before else import_id
        accepted = intake.accepted
        if isinstance(accepted, gpd.GeoDataFrame):
            accepted = accepted.to_crs(crs)
        if intake.kind == "hydrants":
            layers, added = self._plan_hydrants(
                intake, gpd.GeoDataFrame(accepted), crs, import_id, whole=replace, adds=adds
            )
            if stood and not added.rows:
                return [], settled, import_id
            return layers, added, import_id
        if intake.kind == "readings":
            events = measured_events(accepted, self.read(HISTORY.only(())), import_id)
            added = Added(
                len(events), known=False, unchanged=len(accepted) - len(events),
                findings=self._told_before(intake),
            )  # fmt: skip
            return [(HISTORY, events)], added, import_id
        if intake.kind == "shots":
            fresh = _fresh_shots(gpd.GeoDataFrame(accepted), gpd.GeoDataFrame(self.read(SHOTS)))
            added = Added(
                len(fresh), known=False, unchanged=len(accepted) - len(fresh),
                findings=self._told_before(intake),
            )  # fmt: skip
            return [(SHOTS, fresh)], added, import_id
        table = REFERENCE_LAYERS[intake.kind]
        told = accepted.assign(source=f"{intake.record['source']}: {intake.record['layer']}")
        stands = self.read(table)
        ours = stands["source"].isin(told["source"]) | stands[table.key].isin(told[table.key])
        whole = ours.all() if replace else True
        if stood and whole and int(stands["source"].isin(told["source"]).sum()) == len(told):
            return [], settled, import_id
        kept = stands[~ours].iloc[:0] if replace else stands[~ours]
        both = [frame for frame in (kept, told) if len(frame)]
        merged = gpd.GeoDataFrame(pd.concat(both, ignore_index=True)) if both else stands.iloc[:0]
        added = Added(len(told), known=False, unchanged=0, others=len(kept))
        return [(table, table.conform(merged))], added, import_id

    def _plan_hydrants(
        self,
        intake: Intake,
        told: gpd.GeoDataFrame,
        crs: pyproj.CRS,
        import_id: str,
        *,
        whole: bool,
        adds: bool,
    ) -> tuple[list[tuple[Table, pd.DataFrame]], Added]:
        """What a hydrant layer adds, and how it differs from what stands."""
        if not self.exists():
            state = gpd.GeoDataFrame(HYDRANTS.empty(crs))
            events = imported_events(told, state, import_id)
            after = state_after(state, events, crs)
            layers = [(HYDRANTS, after), (HISTORY, events), (CHANGES, CHANGES.empty())]
            return layers, Added(len(events), known=False, unchanged=len(told) - len(events))
        state = self.hydrants()
        kept = HISTORY.only(("event", "hydrant_id", "import_id", "status"))
        history = self.read(kept, where="event IN ('imported', 'retired')")
        living = state["hydrant_id"][(state["status"] != "retired").fillna(value=True)]
        imports = self.read(IMPORTS)
        roots = lineages(history, imports)
        present = pd.Index([*told["hydrant_id"], *intake.exceptions["key"].dropna()])
        found = vintage(present, roots[roots.index.isin(living)], whole=whole, adds=adds)
        tellings = imports[(imports["vintage_of"] == found.of) | (imports["import_id"] == found.of)]
        if len(tellings):
            found = dataclasses.replace(found, source=str(tellings["source"].iloc[-1]))
        rows, back = told_again(pd.DataFrame(told), history)
        told = without_noise(gpd.GeoDataFrame(told.assign(status=rows["status"])), state)
        changed, noticed = compare(told, state, found.gone, back, import_id)
        news = imported_events(told, state, import_id, gone=gone_now(history))
        if not whole:
            noticed = join_findings(noticed, many_gone(found))
        events = pd.concat(
            [f for f in (news, retired_events(found.gone, import_id)) if len(f)] or [news]
        )
        added = Added(
            len(events), known=False, unchanged=len(told) - len(news),
            changes=changed, vintage=found, findings=noticed,
        )  # fmt: skip
        after = state_after(state, events, crs)
        return [(HYDRANTS, after), (HISTORY, events), (CHANGES, changed)], added

    def _known(self, import_id: str, kind: str) -> tuple[int, bool, bool]:
        """
        How often this intake was recorded, whether it was the last, and the last of its layer.

        Surveys only ever add, so one that is there is there. Of a layer the newest telling stands,
        so that going back to an older file is news.
        """
        imports = self.read(IMPORTS)
        base = imports["import_id"].str.split("-").str[0]
        same = base == import_id
        if not same.any():
            return 0, False, False
        alike = imports["as_kind"] == kind
        latest = base[alike].iloc[-1] == import_id
        layer = imports["source"] + "\n" + imports["layer"]
        if kind == "hydrants":  # one layer may be called otherwise each time
            layer = imports["vintage_of"].where(imports["vintage_of"].notna(), imports["import_id"])
        own = base[alike & (layer == layer[same].iloc[-1])].iloc[-1] == import_id
        return int(same.sum()), kind in ("readings", "shots") or latest, own

    def _told_before(self, intake: Intake) -> pd.DataFrame:
        """A finding where the same bytes were brought in before, with other words."""
        told, imports = intake.record, self.read(IMPORTS)
        same = imports["sha256"] == told["sha256"]
        for name in ("as_kind", "layer"):
            same &= imports[name] == told[name]
        other = same & (
            (imports["options"] != told["options"]) | (imports["fields"] != told["fields"])
        )
        if not other.any():
            return no_findings()
        return findings("told-before", table=intake.kind, keys=["(all)"], values=[told["source"]])

    def _write(self, layers: list[tuple[Table, pd.DataFrame]], *, now: dt.datetime) -> None:
        grown = (
            HISTORY.name, IMPORTS.name, FINDINGS.name, EXCEPTIONS.name, SHOTS.name, CHANGES.name,
        )  # fmt: skip
        with replacing(self.path) as fresh:
            if self.exists():
                shutil.copyfile(self.path, fresh)
            write_layers(fresh, layers, moment=now, append=grown)


def _begin(intake: Intake, path: Path) -> pyproj.CRS:
    """The CRS that a new register takes from its first hydrant layer."""
    if intake.kind != "hydrants" or intake.crs is None:
        raise RegisterError(
            "a register begins with a hydrant layer",
            where=str(path),
            do="run `import SOURCE --register FILE` first",
        )
    return intake.crs


def _settings_frame(items: dict[str, str]) -> pd.DataFrame:
    frame = pd.DataFrame({"item": list(items), "value": list(items.values())})
    return SETTINGS.conform(frame)


def _fresh_shots(shots: gpd.GeoDataFrame, known: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Shots that the register does not hold already, told the same in every way."""

    def marks(frame: gpd.GeoDataFrame) -> pd.Series:
        where = xy(frame.geometry).round(4)
        plain = pd.DataFrame(
            {
                "id": frame["shot_id"].to_numpy(),
                "elev": frame["elev_ft"].round(4).to_numpy(),
                "code": frame["shot_code"].to_numpy(),
                "datum": frame["vertical_datum"].to_numpy(),
                "sd": frame["elev_sd_ft"].to_numpy(),
                "x": where[:, 0],
                "y": where[:, 1],
            }
        )
        return pd.util.hash_pandas_object(plain, index=False)

    fresh = ~marks(shots).isin(marks(known))
    return gpd.GeoDataFrame(shots[fresh.to_numpy()])
