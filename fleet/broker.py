"""How the broker is met: how long its clients wait for it, and whether it answers now.

Celery's own libraries are loaded where they are used: most commands never ask the broker, and to
start them cost a tenth of their time.
"""

from __future__ import annotations

from fleet import embedded

CONNECT_S = 2.0
PATIENCE = {
    "socket_connect_timeout": CONNECT_S,
    "socket_timeout": 10.0,
    "socket_keepalive": True,
}
"""Options of the transport, by redis' names."""


class BrokerError(Exception):
    """The broker does not answer; the message says why."""


def ask(limit_s: float = CONNECT_S) -> None:
    """Return when the broker answers.

    Raises:
        BrokerError: it did not within ``limit_s`` seconds, or cannot be reached.
    """
    from kombu.connection import Connection
    from kombu.exceptions import KombuError
    from redis.exceptions import RedisError

    address = embedded.broker_url()
    try:
        with Connection(address, connect_timeout=limit_s, transport_options=PATIENCE) as to:
            to.ensure_connection(max_retries=1, timeout=limit_s)
    except (KombuError, RedisError, OSError) as error:
        raise BrokerError(str(error)) from error
