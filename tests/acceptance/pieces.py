"""Two systems' logs, cut into many small uploads that do not contradict each other."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from fixtures.plants import CLIMATES, Wish, draw_plant
from fixtures.simulator.simulate import Recording, simulate
from fixtures.simulator.spec import LogStyle, Segment
from fixtures.simulator.write import SiteSpec, manifest, upload_frame

START = datetime(2026, 7, 6, 18, tzinfo=UTC)
INTERVAL_S = 30
CODES = ("R1", "R2")
ROWS, OVERLAP = 45, 6
HALVED, ECHOED = 0.3, 0.1


@dataclass(frozen=True)
class Piece:
    """One upload: its system, a name, the bytes, and the instants of its rows as written."""

    system: str
    name: str
    body: bytes
    instants: frozenset[str]


@dataclass(frozen=True)
class Logs:
    """A site's manifest and its uploads, in a random order."""

    site: SiteSpec
    pieces: tuple[Piece, ...]

    def manifest(self, code: str) -> str:
        """The manifest, with another code for the site."""
        return manifest(self.site).replace(f'code = "{self.site.code}"', f'code = "{code}"')

    def write(self, folder: Path, pieces: list[Piece]) -> Path:
        """A site folder of this name with some of the uploads."""
        for system in CODES:
            (folder / system).mkdir(parents=True)
        (folder / "site.toml").write_text(self.manifest(folder.name))
        for piece in pieces:
            (folder / piece.system / piece.name).write_bytes(piece.body)
        return folder


def cut_logs(seed: int, hours: float) -> Logs:
    """Simulate so many hours, cut, and shuffle; equal seeds give equal bytes."""
    rng = random.Random(seed)
    lasts = timedelta(hours=hours)
    recordings = [_record(seed + at, code, lasts) for at, code in enumerate(CODES)]
    site = SiteSpec(
        "alder-council", "Alder Council", "ferry-hall", "Ferry Hall", "Europe/Lisbon",
        tuple(recording.spec for recording in recordings),
    )  # fmt: skip
    pieces = [piece for each in recordings for piece in _cut(upload_frame(site, each), each, rng)]
    rng.shuffle(pieces)
    return Logs(site, tuple(pieces))


def _record(seed: int, code: str, lasts: timedelta) -> Recording:
    wish = Wish(
        code=code,
        start=START,
        segments=(Segment(lasts, INTERVAL_S),),
        refrigerant="R-410A",
        use="office",
        climate=CLIMATES["southern"],
        unit_count=3,
        style=LogStyle(),
    )
    return simulate(draw_plant(seed, wish))


def _cut(frame: pl.DataFrame, recording: Recording, rng: random.Random) -> Iterator[Piece]:
    """Spans that overlap; some as two files of half the columns; some repeated in part."""
    titles = [title for title in frame.columns if title != "time"]
    for number, at in enumerate(range(0, frame.height, ROWS)):
        span = frame[max(0, at - OVERLAP) : at + ROWS]
        halves = [titles[::2], titles[1::2]] if rng.random() < HALVED else [titles]
        for letter, half in zip("ab", halves, strict=False):
            yield _piece(recording, f"{number:04d}{letter}", span.select("time", *half))
        if rng.random() < ECHOED:
            yield _piece(recording, f"{number:04d}x", span[3:-3])


def _piece(recording: Recording, name: str, rows: pl.DataFrame) -> Piece:
    body = rows.write_csv().encode()
    return Piece(recording.spec.code, f"{name}.csv", body, frozenset(rows["time"].to_list()))
