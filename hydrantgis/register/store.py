"""
The register on disk: what it holds, and the one way to add to it.
"""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pyproj
from filelock import FileLock, Timeout

from hydrantgis.ground.errors import LockedError, RegisterError, UnreadableError
from hydrantgis.ground.findings import join_findings
from hydrantgis.ground.tables import (
    CHANGES,
    EXCEPTIONS,
    FINDINGS,
    HISTORY,
    HYDRANTS,
    IMPORTS,
    READINGS,
    SETTINGS,
    SHOTS,
    SURFACES,
)
from hydrantgis.register.additions import Added, crs_to_begin_with, would_add
from hydrantgis.register.events import (
    kits_fitted,
    readings_of,
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

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator
    from pathlib import Path

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.take import Intake

FORMAT = "4"


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
        table = SHOTS.only(("shot_id", "elev_ft", "elev_sd_ft", "vertical_datum", "shot_date"))
        return read_points(self.path, table, where="shot_code = 'ground'")

    def hydrant_shots(self) -> pd.DataFrame:
        """Shots on hydrants and curbs, with `x` and `y` in the CRS of the register."""
        self._must_be_there()
        return read_points(self.path, SHOTS, where="shot_code NOT IN ('ground', 'wall', 'other')")

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
        """Every reading that was ever told and not struck since."""
        told = HISTORY.only((*READINGS.names, "event", "strikes"))
        return readings_of(self.read(told, where="event IN ('measured', 'struck')"))

    def kits_fitted(self) -> pd.Series:
        """The last day on which each hydrant got another extension than it had, by id."""
        told = HISTORY.only(("hydrant_id", "installed_extension_in", "import_id", "event_date"))
        history = self.read(told, where="installed_extension_in IS NOT NULL")
        return kits_fitted(history, self.read(IMPORTS))

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
            return would_add(self, intake, replace=replace, adds=adds, today=now.date())[1]
        with self._locked():
            layers, added, import_id = would_add(
                self, intake, replace=replace, adds=adds, today=now.date()
            )
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
                items = {"format": FORMAT, "crs": crs_to_begin_with(intake, self.path).to_wkt()}
                layers.append((SETTINGS, _settings_frame(items)))
            self._write(layers, now=now, whole=added.whole)
            return added

    def add_surface(
        self,
        rows: pd.DataFrame,
        record: dict[str, object],
        noticed: pd.DataFrame,
        *,
        now: dt.datetime,
        dry_run: bool = False,
    ) -> bool:
        """
        Keep what a surface tells at the hydrants, in the place of one of the same name.

        A terrain and a design of one name are two.

        Parameters
        ----------
        rows
            The `surfaces` table, of one surface.
        record
            A row of the `imports` table, without the time.
        noticed
            Findings.
        now
            The time to record, in UTC.
        dry_run
            Write nothing.

        Returns
        -------
        known
            Whether the same telling stands there already; nothing was written then.

        Raises
        ------
        LockedError
            Another program or run is writing.
        """
        import_id = str(record["import_id"])

        def planned() -> pd.DataFrame | None:
            stands = self.read(SURFACES)
            if (stands["import_id"] == import_id).any():
                return None
            other = (stands["surface"] != record["layer"]) | ~stands["role"].isin(rows["role"])
            kept = stands[other]
            return pd.concat([kept, rows], ignore_index=True) if len(kept) else rows

        if dry_run:
            return planned() is None
        with self._locked():
            whole = planned()
            if whole is None:
                return True
            told = pd.DataFrame([{**record, "recorded_at": pd.Timestamp(now, tz="UTC")}])
            layers: list[tuple[Table, pd.DataFrame]] = [
                (SURFACES, SURFACES.conform(whole)),
                (IMPORTS, IMPORTS.conform(told)),
                (FINDINGS, FINDINGS.conform(noticed.assign(import_id=import_id))),
            ]
            self._write(layers, now=now)
            return False

    def _exceptions_in(self, intake: Intake, import_id: str) -> pd.DataFrame:
        """Exceptions with their points in the CRS of the register."""
        frame = gpd.GeoDataFrame(intake.exceptions.assign(import_id=import_id))
        crs = self.crs if self.exists() else crs_to_begin_with(intake, self.path)
        if intake.crs is None:
            return frame.set_crs(crs, allow_override=True)
        return frame.set_crs(intake.crs, allow_override=True).to_crs(crs)

    def _write(
        self,
        layers: list[tuple[Table, pd.DataFrame]],
        *,
        now: dt.datetime,
        whole: tuple[str, ...] = (),
    ) -> None:
        grown = [
            table.name
            for table in (HISTORY, IMPORTS, FINDINGS, EXCEPTIONS, SHOTS, CHANGES)
            if table.name not in whole
        ]
        with replacing(self.path) as fresh:
            if self.exists():
                shutil.copyfile(self.path, fresh)
            write_layers(fresh, layers, moment=now, append=grown)


def _settings_frame(items: dict[str, str]) -> pd.DataFrame:
    frame = pd.DataFrame({"item": list(items), "value": list(items.values())})
    return SETTINGS.conform(frame)
