"""How long every page takes to its first answer, through the web server that the company runs.

    python -m tests.benchmarks.pages                    # the demo, then 1,000 sites
    python -m tests.benchmarks.pages --fleet thousand --rounds 100

gunicorn with the deployment's settings and one process answers one request at a time over
loopback; a page's time runs from the request to the answer's head. p50 and p95 are of the wall's
clock; processor time is the mean of the web process and the database together. Limits, at p95:
150 ms on the demo, 300 ms on 1,000 sites of two systems. Where other work keeps the processors
busy, ``--by cpu`` holds processor time to the same limits. Exit status 1 when a page is slower.
"""

from __future__ import annotations

import argparse
import http.client
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import django
import psutil

from tests.benchmarks.telling import say
from tests.embedded.harness import REPOSITORY, eventually, free_port

if TYPE_CHECKING:
    from tests.benchmarks.page_fleet import Asked

LIMITS_MS = {"demo": 150.0, "thousand": 300.0}
SITES = 1000
WARM = 2


@dataclass(frozen=True)
class Server:
    """A running web server, and all processes that work for it."""

    port: int
    workers: list[psutil.Process]

    def spent_s(self) -> float:
        """Processor time so far, the database's included."""
        times = [process.cpu_times() for process in self.workers + _backends()]
        return float(sum(time.user + time.system for time in times))


@dataclass(frozen=True)
class Row:
    """What one address took."""

    asked: Asked
    p50_ms: float
    p95_ms: float
    cpu_ms: float
    least_ms: float
    kilobytes: float

    def over(self, limit_ms: float, by_cpu: bool) -> bool:
        """Whether a page's limit is broken."""
        return self.asked.is_page and (self.cpu_ms if by_cpu else self.p95_ms) > limit_ms

    def said(self, mark: str) -> str:
        """The line of the table."""
        numbers = (self.least_ms, self.p50_ms, self.p95_ms, self.cpu_ms, self.kilobytes)
        return f"{self.asked.name:<44}" + "".join(f"{it:9.1f}" for it in numbers) + mark


def _backends() -> list[psutil.Process]:
    from fleet import embedded

    pid_file = embedded.locate().cluster / "postmaster.pid"
    postmaster = psutil.Process(int(pid_file.read_text().splitlines()[0]))
    return postmaster.children()


@contextmanager
def serving() -> Iterator[Server]:
    """The deployment's web server on this process's database."""
    port = free_port()
    given = {"WEB_BIND": f"127.0.0.1:{port}", "WEB_PROCESSES": "1"}
    command = [sys.executable, "-m", "gunicorn", "--config=fleet/deploy/gunicorn.conf.py"]
    process = subprocess.Popen(
        [*command, "fleet.wsgi:application"], cwd=REPOSITORY, env=os.environ | given
    )
    try:
        assert eventually(lambda: _answers(port), 60), "the web server does not answer"
        workers = psutil.Process(process.pid).children(recursive=True)
        yield Server(port, workers)
    finally:
        process.terminate()
        process.wait(30)


def _answers(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/healthz")
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()


def ask(server: Server, asked: Asked) -> tuple[float, int, bytes]:
    """Seconds to the answer's head, its status, and its body."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=120)
    headers = {"Host": "localhost"} | ({"Cookie": asked.cookie} if asked.cookie else {})
    connection.connect()
    began = time.perf_counter()
    connection.request("GET", asked.path, headers=headers)
    answer = connection.getresponse()
    took_s = time.perf_counter() - began
    body = answer.read()
    connection.close()
    return took_s, answer.status, body


def measure(server: Server, asked: Asked, rounds: int) -> Row:
    """One address, after its first answers."""
    _, status, body = ask(server, asked)
    assert status == 200, f"{asked.path} answers {status}"
    for _ in range(WARM):
        ask(server, asked)
    before = server.spent_s()
    took = sorted(ask(server, asked)[0] for _ in range(rounds))
    spent_s = server.spent_s() - before
    return Row(
        asked,
        1e3 * statistics.median(took),
        1e3 * took[max(0, int(0.95 * rounds) - 1)],
        1e3 * spent_s / rounds,
        1e3 * took[0],
        len(body) / 1e3,
    )


def run(name: str, rounds: int, sites: int, by_cpu: bool) -> int:
    """One fleet: its table, and 1 when a page is over the limit."""
    with ExitStack() as stack:
        if name == "demo":
            from tests import demo_fleet

            os.environ |= stack.enter_context(demo_fleet.made()).stack.environ()
            os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"
            django.setup()
        else:
            from tests.benchmarks import private

            private.prepare()
        from tests.benchmarks import page_fleet

        asked = page_fleet.of_demo() if name == "demo" else page_fleet.of_many(sites)
        stack.callback(_leave)
        server = stack.enter_context(serving())
        limit = f"{LIMITS_MS[name]:.0f} ms"
        say(f"\n{name}: {len(asked)} addresses, {rounds} times each, limit {limit}")
        say(f"{'ms':<44}{'least':>9}{'p50':>9}{'p95':>9}{'CPU':>9}{'kB':>9}")
        slow = 0
        for one in asked:
            row = measure(server, one, rounds)
            over = row.over(LIMITS_MS[name], by_cpu)
            slow += over
            say(row.said("  over" if over else "" if one.is_page else "  no page"))
        load = os.getloadavg()[1]
        say(f"{slow} over the limit; load {load:.1f} on {os.cpu_count()} processors")
    return int(slow > 0)


def _leave() -> None:
    from django.db import connections

    from fleet import embedded

    connections.close_all()
    embedded.release()


def main() -> int:
    """Each fleet in a process of its own, for each has its own database."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fleet", choices=LIMITS_MS)
    parser.add_argument("--rounds", type=int, default=40)
    parser.add_argument("--sites", type=int, default=SITES)
    parser.add_argument("--by", choices=("wall", "cpu"), default="wall")
    options = parser.parse_args()
    if options.fleet:
        return run(options.fleet, options.rounds, options.sites, options.by == "cpu")
    command = [sys.executable, "-m", "tests.benchmarks.pages", *sys.argv[1:]]
    return max(
        subprocess.run([*command, "--fleet", name], check=False).returncode for name in LIMITS_MS
    )


if __name__ == "__main__":
    raise SystemExit(main())
