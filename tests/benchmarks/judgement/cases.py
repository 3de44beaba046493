"""One simulated system as the exam keeps it: coded readings, and the truth beside them.

Simulating costs more than analysing, so cases are kept between runs. A kept case reads in a tenth
of the time it takes to simulate it. The key is a digest of the simulator's source and of the spec,
and a fresh case goes through the same coding as a kept one, so both give the same figures.
"""

from __future__ import annotations

import hashlib
import os
import zipfile
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from tempfile import NamedTemporaryFile

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_cache_path

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples, TimeArray
from fixtures.simulator.simulate import Recording, simulate
from fixtures.simulator.spec import Segment, SystemSpec
from tests.diagnostics.simulated import plant_of, samples_and_plant

ROOT = Path(__file__).resolve().parents[3]
LIMIT_BYTES = 2_000_000_000
"""Of the whole cache; the files unused for longest go first."""

_RUNNING = ("cooling", "heating", "simultaneous")
_CODE_K = 0.01
_NONE = np.int16(-32768)
_Codes = NDArray[np.int16]
_Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Known:
    """What the simulator knows of every sample, shape (n,); see ``fixtures.simulator.truth``.

    direction: +1, -1, 0. drop_k, subcooling_k: to 0.01 K, NaN without flow. flow_kg_s.
    running: cooling, heating or simultaneous; neither off, starting, defrost nor oil return.
    simultaneous: of that, cooling and heating at once.
    """

    direction: NDArray[np.int8]
    drop_k: FloatArray
    subcooling_k: FloatArray
    flow_kg_s: FloatArray
    running: _Mask
    simultaneous: _Mask
    valve_open: _Mask
    hunting: _Mask
    steady: _Mask


@dataclass(frozen=True, eq=False)
class Case:
    """A recording, coded as the product stores it, and its truth, apart from each other."""

    spec: SystemSpec
    arrays: dict[str, NDArray[np.generic]]

    def seen(self) -> tuple[Samples, Plant]:
        """What the detectors get: readings and the manifest, nothing of the truth."""
        outdoor, indoor = {}, {}
        for key, codes in self.arrays.items():
            side, _, name = key.partition(".")
            if side == "outdoor":
                outdoor[name] = OUTDOOR_BY_NAME[name].decode(codes.astype(np.int16))
            elif side == "indoor":
                indoor[name] = INDOOR_BY_NAME[name].decode(codes.astype(np.int16))
        return Samples(self.time, outdoor, indoor), plant_of(self.spec)

    def known(self) -> Known:
        """The truth."""
        own = self.arrays
        return Known(
            direction=own["truth.direction"].astype(np.int8),
            drop_k=_kelvin(own["truth.drop"]),
            subcooling_k=_kelvin(own["truth.subcooling"]),
            flow_kg_s=own["truth.flow"].astype(np.float64),
            **{
                name: own[f"truth.{name}"].astype(bool)
                for name in ("running", "simultaneous", "valve_open", "hunting", "steady")
            },
        )

    @property
    def time(self) -> TimeArray:
        """Instants of the samples, shape (n,)."""
        seconds = self.arrays["time"].astype("timedelta64[us]")
        return np.datetime64(self.spec.start.replace(tzinfo=None), "us") + seconds


def of(spec: SystemSpec, *, keep: bool = True) -> Case:
    """The case of ``spec``, from the cache where it is there."""
    if not keep:
        return coded(simulate(spec))
    path = folder() / f"{_digest(spec)}.npz"
    if path.exists():
        try:
            return Case(spec, _read(path))
        except (OSError, ValueError, KeyError, zipfile.BadZipFile):
            path.unlink(missing_ok=True)
    case = coded(simulate(spec))
    _write(path, case)
    return case


def coded(recording: Recording) -> Case:
    """A recording in the form in which cases are kept."""
    spec, truth = recording.spec, recording.truth
    samples, _ = samples_and_plant(recording, spec)
    start = np.datetime64(spec.start.replace(tzinfo=None), "us")
    arrays: dict[str, NDArray[np.generic]] = {"time": (samples.time - start).astype(np.int64)}
    for name, values in samples.outdoor.items():
        arrays[f"outdoor.{name}"] = OUTDOOR_BY_NAME[name].encode(values)
    for name, values in samples.indoor.items():
        arrays[f"indoor.{name}"] = INDOOR_BY_NAME[name].encode(values)
    return Case(
        spec,
        arrays
        | {
            "truth.direction": truth.direction.astype(np.int8),
            "truth.drop": _hundredths(truth.drop_k),
            "truth.subcooling": _hundredths(truth.upstream_subcooling_k),
            "truth.flow": truth.liquid_flow_kg_s.astype(np.float16),
            "truth.running": np.isin(truth.state, _RUNNING),
            "truth.simultaneous": truth.state == "simultaneous",
            "truth.valve_open": truth.valve_open,
            "truth.hunting": truth.hunting,
            "truth.steady": truth.steady,
        },
    )


def _hundredths(values: FloatArray) -> _Codes:
    clipped = np.clip(np.nan_to_num(values), -300.0, 300.0)
    return np.where(np.isnan(values), _NONE, np.rint(clipped / _CODE_K)).astype(np.int16)


def _kelvin(codes: NDArray[np.generic]) -> FloatArray:
    whole = codes.astype(np.int16)
    return np.where(whole == _NONE, np.nan, whole * _CODE_K)


def thinned(case: Case, interval_s: int) -> Case:
    """The same history as a slower logger keeps it: instants on its own grid alone."""
    step_us = interval_s * 1_000_000
    kept = case.arrays["time"].astype(np.int64) % step_us == 0
    span = case.spec.end - case.spec.start
    spec = replace(case.spec, segments=(Segment(span, interval_s),))
    return Case(spec, {name: values[..., kept] for name, values in case.arrays.items()})


def without(case: Case, channels: tuple[str, ...]) -> Case:
    """The same history of a logger that leaves channels out, outdoors and indoors."""
    gone = {f"{side}.{name}" for name in channels for side in ("outdoor", "indoor")}
    return Case(case.spec, {name: it for name, it in case.arrays.items() if name not in gone})


def folder() -> Path:
    """Where cases are kept: MILLRACE_CACHE, else the user's cache folder."""
    given = os.environ.get("MILLRACE_CACHE")
    base = Path(given) if given else user_cache_path("millrace", appauthor=False)
    return base / "judgement"


def trim(limit_bytes: int = LIMIT_BYTES) -> None:
    """Delete the cases unused for longest until the rest fit into ``limit_bytes``."""
    kept = sorted(
        ((path.stat().st_mtime, path.stat().st_size, path) for path in folder().glob("*.npz")),
        reverse=True,
    )
    total = 0
    for _, size, path in kept:
        total += size
        if total > limit_bytes:
            path.unlink(missing_ok=True)


@cache
def _source_digest() -> bytes:
    """Of everything that turns a spec into a case."""
    digest = hashlib.sha256()
    sources = [
        *sorted((ROOT / "fixtures" / "simulator").rglob("*.py")),
        *sorted((ROOT / "fixtures" / "simulator").rglob("*.npz")),
        ROOT / "diagnostics" / "channels.py",
        ROOT / "diagnostics" / "units.py",
        ROOT / "tests" / "diagnostics" / "simulated.py",
        Path(__file__),
    ]
    for path in sources:
        digest.update(path.read_bytes())
    return digest.digest()


def _digest(spec: SystemSpec) -> str:
    return hashlib.sha256(_source_digest() + repr(spec).encode()).hexdigest()[:32]


def _write(path: Path, case: Case) -> None:
    """Write whole or not at all: two workers may want the same case."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with (
        NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as part,
        zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed,
    ):
        for name, values in case.arrays.items():
            with packed.open(f"{name}.npy", "w") as member:
                np.lib.format.write_array(member, _differences(values))
    Path(part.name).replace(path)


def _read(path: Path) -> dict[str, NDArray[np.generic]]:
    path.touch()
    with path.open("rb") as file, np.load(file, allow_pickle=False) as packed:
        return {name: _summed(packed[name]) for name in packed.files}


def _differences(values: NDArray[np.generic]) -> NDArray[np.generic]:
    """Integers as differences along time, which pack better; integers wrap, so nothing is lost."""
    if values.dtype.kind != "i":
        return np.ascontiguousarray(values)
    return np.ascontiguousarray(np.diff(values, axis=-1, prepend=values.dtype.type(0)))


def _summed(values: NDArray[np.generic]) -> NDArray[np.generic]:
    if values.dtype.kind != "i":
        return values
    return np.cumsum(values, axis=-1, dtype=values.dtype)
