"""The one place where a database connection meets the private server.

Every way in (a command, a web request, a task, a test) opens its database connection through
Django, and only those that need the database do. So this is where the server is started or
joined, and where one that was restarted is waited for.
"""

from __future__ import annotations

import time
from typing import Any

import psycopg
from django.db.backends.postgresql import base, client

from fleet import embedded
from fleet.embedded.binaries import client_program
from fleet.embedded.place import DATABASE_USER, SOCKET_PORT

_RESTART_LIMIT_S = 30.0
# A server just killed or stopping answers so; any other refusal is the caller's business.
_RESTARTING = (
    "connection refused",
    "no such file",
    "starting up",
    "shutting down",
    "closed the connection",
    "in recovery mode",
)


class DatabaseClient(client.DatabaseClient):
    """``manage.py dbshell`` with the psql that belongs to the server."""

    def runshell(self, parameters: Any) -> None:
        self.executable_name = client_program("psql")
        self.connection.get_connection_params()
        super().runshell(parameters)


class DatabaseWrapper(base.DatabaseWrapper):
    """PostgreSQL whose address is that of the private server, brought up on connecting."""

    client_class = DatabaseClient

    def get_connection_params(self) -> dict[str, Any]:
        embedded.ensure()
        place = embedded.locate()
        self.settings_dict.update(
            HOST=str(place.sockets),
            PORT=str(SOCKET_PORT),
            USER=DATABASE_USER,
            OPTIONS={**self.settings_dict["OPTIONS"], "passfile": str(place.password_file)},
        )
        params: dict[str, Any] = super().get_connection_params()
        return params

    def connect(self) -> None:
        until = time.monotonic() + _RESTART_LIMIT_S
        while True:
            try:
                super().connect()
            except psycopg.OperationalError as error:  # Django wraps it further out
                passing = any(sign in str(error).lower() for sign in _RESTARTING)
                if not passing or time.monotonic() > until:
                    raise
                time.sleep(0.05)
            else:
                return
