"""The private database and broker used when no address of a server is given.

One supervisor process per data folder runs PostgreSQL and a Redis-compatible broker. A process
that uses them is registered by an open connection to the supervisor, which the kernel closes
even after ``kill -9``; the supervisor stops both servers when the last connection is gone.

`ensure` is called in one place per way in: on opening a database connection
(``fleet.embedded.backend``), on starting a worker or scheduler (``fleet.celery``), by whoever
keeps the whole stack running (``fleet.embedded.processes``) and by the broker's check.
"""

from fleet.embedded.client import broker_url, ensure, release
from fleet.embedded.errors import EmbeddedError
from fleet.embedded.place import Place, data_folder, locate

__all__ = [
    "EmbeddedError",
    "Place",
    "broker_url",
    "data_folder",
    "ensure",
    "locate",
    "release",
]
