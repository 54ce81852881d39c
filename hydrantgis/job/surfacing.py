"""
Surfaces of the ground into the register: what each tells of the grade at every hydrant.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyproj

from hydrantgis import __version__
from hydrantgis.ground.errors import SourceError, UnitError, WordsError
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import xy
from hydrantgis.ground.tables import SURFACES
from hydrantgis.ground.text import datum_key
from hydrantgis.ground.units import LengthUnit, factor
from hydrantgis.heights.surface import surface_at, surface_findings
from hydrantgis.heights.terrain import (
    LEAST_CHECK_POINTS,
    NSSDA_95,
    blunders,
    grade_sd_ft,
    statements_agree,
    vertical_accuracy,
)
from hydrantgis.intake.ledger import Count
from hydrantgis.intake.metadata import stated_accuracy
from hydrantgis.intake.samples import sample, sample_findings
from hydrantgis.intake.source import sha256_of
from hydrantgis.intake.surfaces import SurfaceWords, is_landxml, read_triangulation
from hydrantgis.intake.systems import short
from hydrantgis.intake.terrain import open_terrain, terrain_findings
from hydrantgis.job.moment import quiet, the_time
from hydrantgis.register.store import Register
from hydrantgis.standards.methods import HYDRANT_SD_XY_FT

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from hydrantgis.heights.terrain import VerticalAccuracy
    from hydrantgis.intake.metadata import StatedAccuracy

FROM_SHOTS, FROM_METADATA = "from-shots", "from-metadata"
"""An RMSEz that the ground shots of the register, or the metadata beside the file, shall tell."""
_WORSE = 1.5
"""Shots that make the RMSEz so many times the stated one contradict it."""
_ABSURD_FT = 30.0
"""A terrain this far off in the mean is in another unit or datum. [ft]"""
_OVER_ITSELF_FT = 0.05
"""Triangles that lie over each other by no more are not told. [ft]"""


@dataclass(frozen=True, slots=True)
class Surfaced:
    """
    What a surface brought.

    Attributes
    ----------
    rows
        The `surfaces` table.
    record
        A row of the `imports` table, without the time.
    findings
        What was noticed.
    count
        Hydrants in, and how many it tells the ground at.
    accuracy
        Against the ground shots of the register; None where none lie on it in its datum.
    known
        The same surface was there already; nothing was added.
    """

    rows: pd.DataFrame
    record: dict[str, object]
    findings: pd.DataFrame
    count: Count
    accuracy: VerticalAccuracy | None
    known: bool


@dataclass(frozen=True, slots=True)
class _Samples:
    """A surface at n points; `step_ft` where it is told in whole units."""

    name: str
    elev_ft: NDArray[np.float64]
    slope: NDArray[np.float64]
    sampled: NDArray[np.object_]
    vertical_datum: str | None
    step_ft: float
    crs: pyproj.CRS
    findings: pd.DataFrame


def bring_surface(
    register: Path | str,
    sources: Sequence[Path | str],
    role: str,
    *,
    words: SurfaceWords | None = None,
    rmse_z_ft: float | str | None = None,
    accuracy_95_ft: float | None = None,
    on: dt.date | None = None,
    place_sd_ft: float = HYDRANT_SD_XY_FT,
    now: dt.datetime | None = None,
    dry_run: bool = False,
    tell: Callable[[str], None] = quiet,
) -> Surfaced:
    """
    Read a surface at every hydrant and keep what it tells.

    Parameters
    ----------
    register
        The register's file.
    sources
        A raster, a VRT or tiles of one grid, or one LandXML file.
    role
        `terrain`: the ground as it is or was. `design`: as it shall be.
    words
        What the user says of the surface.
    rmse_z_ft
        Vertical accuracy, `FROM_SHOTS` or `FROM_METADATA`; a terrain needs one, a design has none
        where it is None.
    accuracy_95_ft
        Accuracy at 95 %, where the report states that, or that too. [ft]
    on
        The day when the ground was so, or shall be.
    place_sd_ft
        Standard uncertainty of the hydrants' places along either axis. [ft]
    now
        The time to record, in UTC; the clock's where it is None.
    dry_run
        Do everything but write.
    tell
        Told each stage of the work.

    Returns
    -------
    surfaced
        A surface of the same name and role is replaced.

    Raises
    ------
    HydrantGISError
        The surface or the register cannot be used, or nobody says its accuracy or datum.
    """
    store, said = Register(Path(register)), words or SurfaceWords()
    moment = the_time() if now is None else now
    if role == "terrain" and on is not None and on > moment.date():
        raise WordsError(
            f"the ground of {on} is not known yet", accepted="a day that is past",
            do="say when the terrain was flown, or bring it in --as surface",
        )  # fmt: skip
    paths = [Path(source) for source in sources]
    hydrants = store.hydrants()
    points, keys = xy(hydrants.geometry), hydrants["hydrant_id"]
    tell(f"reading {paths[0].name} at {len(points):,} hydrants")
    read = _sample(paths, points, store.crs, said, keys, "hydrants")
    where = paths[0].name
    if not (read.sampled == "ok").any():
        raise _tells_nothing(read, where)
    if read.vertical_datum is None:
        raise UnitError(
            "nobody says in which vertical datum the surface is", where=where,
            accepted="its name, for example NAVD88", do="say --vertical-datum NAME",
        )  # fmt: skip
    checks, far_off = (
        _against_shots(store, paths, said, read) if role == "terrain" else (None, no_findings())
    )
    stated = stated_accuracy(paths[0])
    rmse_said, doubted = _stated(rmse_z_ft, accuracy_95_ft, read.name)
    rmse, contradicted = _contradicted(
        _accuracy(rmse_said, role, checks, stated, where), checks, read.name, where
    )
    sd = grade_sd_ft(read.slope, rmse_z_ft=rmse, hydrant_sd_xy_ft=place_sd_ft, step_ft=read.step_ft)
    ok = read.sampled == "ok"
    count = Count(len(points), int(ok.sum()), 0, int((~ok).sum()))
    digest = sha256_of(paths)
    told = json.dumps(
        {
            **{k: v for k, v in asdict(said).items() if v is not None}, "role": role,
            "rmse_z_ft": round(rmse, 6), "accuracy_95_ft": accuracy_95_ft,
            "on": None if on is None else str(on), "place_sd_ft": place_sd_ft,
        },
        sort_keys=True,
    )  # fmt: skip
    # the hydrants too: the same surface tells more once there are more of them
    asked = hashlib.sha256(points.tobytes() + "\n".join(keys).encode())
    name = "\n".join((digest, read.name, told, asked.hexdigest()))
    import_id = hashlib.sha256(name.encode()).hexdigest()[:16]
    rows = SURFACES.conform(
        pd.DataFrame(
            {
                "import_id": import_id, "surface": read.name, "role": role, "hydrant_id": keys,
                "elev_ft": read.elev_ft, "elev_sd_ft": sd, "slope": read.slope,
                "vertical_datum": read.vertical_datum,
                "surface_date": pd.Timestamp(on) if on else pd.NaT, "sampled": read.sampled,
            }
        )
    )  # fmt: skip
    record: dict[str, object] = {
        "import_id": import_id, "as_kind": "terrain" if role == "terrain" else "surface",
        "source": where, "layer": read.name, "sha256": digest, "source_rows": count.rows,
        "accepted": count.accepted, "held": 0, "rejected": count.rejected, "crs": short(read.crs),
        "crs_from": "user" if said.crs else "source", "fields": "{}", "options": told,
        "version": __version__,
    }  # fmt: skip
    noticed = join_findings(
        doubted, contradicted, far_off,
        read.findings if checks is None else _with_checks(read, checks),
    )  # fmt: skip
    known = store.add_surface(rows, record, noticed, now=moment, dry_run=dry_run)
    return Surfaced(rows, record, noticed, count, checks, known)


def _sample(
    paths: list[Path],
    points: NDArray[np.float64],
    crs: pyproj.CRS,
    words: SurfaceWords,
    keys: pd.Series,
    table: str,
) -> _Samples:
    """A surface of whatever kind at points."""
    if len(paths) == 1 and is_landxml(paths[0]):
        tin = read_triangulation(paths[0], words)
        move = pyproj.Transformer.from_crs(crs.to_2d(), tin.crs.to_2d(), always_xy=True)
        here = np.column_stack(move.transform(points[:, 0], points[:, 1])) * tin.flat
        here[~np.isfinite(here)] = np.nan
        at = surface_at(here, tin.vertices_ft, tin.faces)
        placed = np.isfinite(points).all(axis=1)
        sampled = np.select([~placed, at.triangles == 0], ["no-location", "outside"], "ok")
        noticed = surface_findings(at, keys, apart=_OVER_ITSELF_FT, table=table)
        placeless = noticed["key"].isin(keys.to_numpy(dtype=object)[~placed])
        return _Samples(
            tin.name, at.elev, at.slope, sampled.astype(object), tin.vertical_datum, 0.0, tin.crs,
            join_findings(tin.findings, noticed[~placeless]),
        )  # fmt: skip
    terrain = open_terrain(
        paths, unit=words.unit, crs=words.crs, vertical_datum=words.vertical_datum,
        nodata=words.nodata, band=words.band,
    )  # fmt: skip
    read = sample(terrain, points, crs)
    step = float(factor(terrain.unit, LengthUnit.FT)) if read.whole else 0.0
    return _Samples(
        words.name or paths[0].stem, read.elev_ft, read.slope, read.why, terrain.vertical_datum,
        step, terrain.crs,
        join_findings(
            terrain_findings(terrain, whole=read.whole),
            sample_findings(terrain, read, keys.to_numpy(dtype=object), table=table),
        ),
    )  # fmt: skip


def _tells_nothing(read: _Samples, where: str) -> SourceError:
    counts = pd.Series(read.sampled).value_counts()
    found = ", ".join(f"{many:,} {what}" for what, many in counts.items())
    return SourceError(
        "the surface tells the ground at no hydrant", where=where,
        found=f"{found}; the surface is in {short(read.crs)}",
        do="look whether its CRS is right (--crs), or ask for the part with the hydrants",
    )  # fmt: skip


def _against_shots(
    store: Register, paths: list[Path], words: SurfaceWords, surface: _Samples
) -> tuple[VerticalAccuracy | None, pd.DataFrame]:
    """The surface against the ground shots of the register in its vertical datum."""
    shots = store.ground_shots()
    datum = datum_key(surface.vertical_datum or "")
    ours = shots["vertical_datum"].map(datum_key, na_action="ignore").isin([datum])
    shots = shots[ours & shots["elev_ft"].notna()]
    if not len(shots):
        return None, no_findings()
    points = shots[["x", "y"]].to_numpy(dtype=np.float64)
    read = _sample(paths, points, store.crs, words, shots["shot_id"], "shots")
    error = read.elev_ft - shots["elev_ft"].to_numpy(dtype=np.float64)
    blunder = blunders(error)
    noticed = findings(
        "terrain-shot-blunder", table="shots", keys=shots["shot_id"][blunder], column="elev_ft",
        values=[f"{v:g}" for v in shots["elev_ft"][blunder]],
        messages=[f"the terrain lies {v:+.1f} ft over it" for v in error[blunder]],
    )  # fmt: skip
    told = vertical_accuracy(read.elev_ft[~blunder], shots["elev_ft"][~blunder])
    return (told if told.points else None), noticed


def _contradicted(
    rmse: float, checks: VerticalAccuracy | None, name: str, where: str
) -> tuple[float, pd.DataFrame]:
    """
    The RMSEz to use, the larger one where enough shots say that the stated one is too small.

    Raises
    ------
    SourceError
        The terrain lies so far off the shots that unit or datum is wrong.
    """
    if checks is None or not checks.enough or checks.rmse_z_ft <= _WORSE * rmse:
        return rmse, no_findings()
    if abs(checks.mean_ft) > _ABSURD_FT:
        raise SourceError(
            "the terrain is not that of the ground shots", where=where,
            found=f"it lies {checks.mean_ft:+,.1f} ft over {checks.points:,} of them in the mean",
            do="check its unit (--unit elev_ft=m) and its vertical datum, and those of the shots",
        )  # fmt: skip
    message = (
        f"RMSEz {rmse:.2f} ft is stated, and {checks.points:,} ground shots say "
        f"{checks.rmse_z_ft:.2f} ft (mean {checks.mean_ft:+.2f} ft); the larger one was taken"
    )
    told = findings("terrain-worse-than-stated", table="surfaces", keys=[name], messages=message)
    return checks.rmse_z_ft, told


def _stated(
    rmse: float | str | None, accuracy_95: float | None, name: str
) -> tuple[float | str | None, pd.DataFrame]:
    """The RMSEz of what is stated; the larger one, and a finding, where the two do not agree."""
    if accuracy_95 is None:
        return rmse, no_findings()
    of_95 = accuracy_95 / NSSDA_95
    if not isinstance(rmse, float) or not of_95 > 0:
        return of_95 if rmse is None else rmse, no_findings()
    if statements_agree(rmse, accuracy_95):
        return rmse, no_findings()
    message = (
        f"RMSEz {rmse:.3f} ft is stated, and {accuracy_95:.3f} ft at 95 %, which is of an RMSEz of "
        f"{of_95:.3f} ft; the larger one was taken"
    )
    told = findings("terrain-statements-differ", table="surfaces", keys=[name], messages=message)
    return max(rmse, of_95), told


def _accuracy(
    said: float | str | None,
    role: str,
    checks: VerticalAccuracy | None,
    stated: StatedAccuracy | None,
    where: str,
) -> float:
    """The RMSEz to use. [ft]"""
    words = (
        "no metadata beside it that say" if stated is None else f"its metadata say: {stated.words}"
    )
    if said == FROM_METADATA:
        if stated is None or stated.rmse_z_ft is None:
            raise WordsError(
                "the metadata tell no RMSEz, or more than one", where=where, found=words,
                do="look into them, and say it with --rmse-z",
            )  # fmt: skip
        return stated.rmse_z_ft
    if isinstance(said, str):
        if said != FROM_SHOTS:
            raise WordsError(
                f"`{said}` is no RMSEz", accepted=f"a length, {FROM_SHOTS} or {FROM_METADATA}"
            )
        if checks is None or not checks.enough:
            raise WordsError(
                "the ground shots cannot tell how accurate the terrain is", where=where,
                found=f"{0 if checks is None else checks.points} of them lie on it in its datum",
                accepted=f"{LEAST_CHECK_POINTS} or more", do="say its RMSEz with --rmse-z",
            )  # fmt: skip
        return checks.rmse_z_ft
    if said is not None:
        if not (math.isfinite(said) and said > 0):
            raise WordsError("an RMSEz is a length greater than 0", found=f"{said:g} ft")
        return said
    if role == "terrain":
        raise UnitError(
            "nobody says how accurate the terrain is", where=where, found=words,
            accepted=f"its RMSEz, for example `10 cm`, {FROM_SHOTS} or {FROM_METADATA}",
            do="look for RMSEz in its report, and say it with --rmse-z",
        )  # fmt: skip
    return 0.0


def _with_checks(read: _Samples, checks: VerticalAccuracy) -> pd.DataFrame:
    """The findings, with what the shots say of the surface."""
    message = (
        f"{checks.points:,} ground shots: mean {checks.mean_ft:+.2f} ft, RMSEz "
        f"{checks.rmse_z_ft:.2f} ft, {checks.accuracy_95_ft:.2f} ft at 95 % (NSSDA)"
    )
    told = findings("terrain-checked", table="surfaces", keys=[read.name], messages=message)
    return join_findings(read.findings, told)
