"""However many threads of a web server ring at once, the broker sees few of its connections."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
import redis

from fleet import embedded
from fleet.celery import RINGING_CONNECTIONS, app

THREADS, ROUNDS = 8, 40
QUEUE = "heard-by-nobody"
SOCKETS_EACH = 2
"""A connection of Celery's asks and publishes on sockets of their own."""


@pytest.fixture
def broker() -> Iterator[redis.Redis]:
    embedded.ensure()
    with redis.Redis(unix_socket_path=str(embedded.locate().broker_socket)) as client:
        yield client
        client.delete(QUEUE)


def test_threads_that_ring_at_once_share_few_connections(broker: redis.Redis) -> None:
    before, together = len(broker.client_list()), Barrier(THREADS)

    def ring() -> None:
        for _ in range(ROUNDS):
            together.wait()
            app.send_task("nobody.hears", queue=QUEUE, retry=False)

    with ThreadPoolExecutor(THREADS) as threads:
        for done in [threads.submit(ring) for _ in range(THREADS)]:
            done.result()
    assert broker.llen(QUEUE) == THREADS * ROUNDS
    assert len(broker.client_list()) - before <= SOCKETS_EACH * RINGING_CONNECTIONS
