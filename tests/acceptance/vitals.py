"""What a running stack takes up: memory and handles of each process, connections, disk, queue."""

from __future__ import annotations

import contextlib
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import psycopg
import redis

from tests.acceptance.casualties import Casualties
from tests.acceptance.growth import Reading
from tests.acceptance.trial import Scene

MIB = 2.0**20
CONNECTIONS = (
    "SELECT count(*), pg_database_size(current_database()) FROM pg_stat_activity "
    "WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()"
)
ABSENT = (psutil.Error, psycopg.Error, redis.RedisError, OSError, ValueError, AssertionError)
"""What looking for something that has just been killed leads to."""


class Watch(threading.Thread):
    """Takes readings at a steady pace until stopped."""

    def __init__(self, scene: Scene, every_s: float) -> None:
        super().__init__(daemon=True)
        self.scene, self.every_s = scene, every_s
        self.readings: list[Reading] = []
        self.missed = 0
        self.began = time.monotonic()
        self.stopping = threading.Event()

    def run(self) -> None:
        """Read, and say once a minute what was read."""
        said = 0
        while not self.stopping.wait(self.every_s):
            latest = self.take()
            self.readings += latest
            if latest and latest[0].minute >= said:
                said += 1
                print(summary(latest, self.scene), flush=True)  # noqa: T201

    def stop(self) -> None:
        """Take no more."""
        self.stopping.set()
        self.join()

    def take(self) -> list[Reading]:
        """Every figure that can be had now; what is just being started is missed."""
        minute = (time.monotonic() - self.began) / 60.0
        found: list[Reading] = []
        for part in (self._programs, self._database, self._broker, self._disk):
            with _counting(self):
                found += [Reading(minute, *figure) for figure in part()]
        return found

    def _programs(self) -> Iterator[tuple[str, str, float, int]]:
        casualties = Casualties(self.scene.stack, self.scene.keeper)
        worker = casualties.worker()
        # the tree is asked, for a look at every process of the machine is dear
        family = {
            "keeper": [psutil.Process(self.scene.keeper)],
            "web": [casualties.web()],
            "worker": [worker],
            "pool": worker.children(),
            "scheduler": [casualties.scheduler()],
        }
        total = 0.0
        for kind, processes in family.items():
            for process in processes:
                memory = process.memory_info().rss / MIB
                total += memory
                life = _life(process)
                yield kind, "memory MiB", memory, life
                yield kind, "handles", float(process.num_fds()), life
        yield "programs", "memory together MiB", total, 0
        yield "programs", "processes", float(sum(map(len, family.values()))), 0

    def _database(self) -> Iterator[tuple[str, str, float, int]]:
        postmaster = self.scene.stack.postmaster()
        own, handles, life = 0.0, 0, _life(postmaster)
        for process in (postmaster, *postmaster.children()):
            with contextlib.suppress(psutil.NoSuchProcess):
                memory = process.memory_info()
                # what is shared is the buffers, of fixed size
                own += (memory.rss - memory.shared) / MIB
                handles += process.num_fds()
        yield "database", "memory MiB", own, life
        yield "database", "handles", float(handles), life
        ((connections, size),) = self.scene.stack.sql(CONNECTIONS)
        yield "database", "connections", float(connections), 0
        yield "database", "stored MiB", size / MIB, 0

    def _broker(self) -> Iterator[tuple[str, str, float, int]]:
        socket = str(self.scene.stack.place.broker_socket)
        with redis.Redis(unix_socket_path=socket, socket_timeout=2.0) as client:
            told = client.info()
            waiting = client.llen("millrace") + client.hlen("unacked")
        process = psutil.Process(int(told["process_id"]))
        life = _life(process)
        yield "broker", "memory MiB", process.memory_info().rss / MIB, life
        yield "broker", "handles", float(process.num_fds()), life
        yield "broker", "data KiB", told["used_memory"] / 1024, life
        yield "broker", "messages", float(waiting), 0

    def _disk(self) -> Iterator[tuple[str, str, float, int]]:
        place = self.scene.stack.place
        log = size_of(place.cluster / "pg_wal")
        everything = size_of(place.root)
        if place.root.parent != place.home:
            everything += size_of(place.home)
        tables = size_of(place.cluster / "base")
        yield "disk", "tables MiB", tables / MIB, 0
        yield "disk", "log of writes MiB", log / MIB, 0
        yield "disk", "all else MiB", (everything - log - tables) / MIB, 0


def size_of(folder: Path) -> int:
    """Bytes taken on disk by everything in a folder; what vanishes meanwhile counts nothing."""
    total = 0
    with contextlib.suppress(FileNotFoundError), os.scandir(folder) as entries:
        for entry in entries:
            with contextlib.suppress(FileNotFoundError):
                if entry.is_dir(follow_symlinks=False):
                    total += size_of(Path(entry.path))
                else:
                    total += entry.stat(follow_symlinks=False).st_blocks * 512
    return total


def summary(latest: list[Reading], scene: Scene) -> str:
    """One line: the minute, uploads acknowledged, and each figure added up by kind."""
    sums: dict[tuple[str, str], float] = {}
    for reading in latest:
        key = reading.kind, reading.measure
        sums[key] = sums.get(key, 0.0) + reading.value
    told = "  ".join(f"{kind} {measure} {value:.0f}" for (kind, measure), value in sums.items())
    return f"min {latest[0].minute:5.1f}  acknowledged {len(scene.ledger.acknowledged)}  {told}"


def _life(process: psutil.Process) -> int:
    return int(process.create_time() * 100) * 10_000_000 + process.pid


@contextlib.contextmanager
def _counting(watch: Watch) -> Iterator[None]:
    try:
        yield
    except ABSENT:
        watch.missed += 1
