"""The web server process of a running stack: ``python -m fleet.embedded.web FD``."""

from __future__ import annotations

import signal
import socket
import sys

import waitress

from fleet.embedded.children import end_with_keeper
from fleet.wsgi import application

_THREADS = 8  # each may hold one database connection
_BODY_BYTES = 66 * 2**20  # a little over the largest upload; what is larger is never buffered


def main(descriptor: int) -> None:
    """Serve on a listening socket inherited from the keeper.

    The keeper owns the socket, so callers wait instead of being refused while a server that
    died is replaced.
    """
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    end_with_keeper()
    listener = socket.socket(fileno=descriptor)
    waitress.serve(
        application,
        sockets=[listener],
        threads=_THREADS,
        ident=None,
        max_request_body_size=_BODY_BYTES,
        _quiet=True,
    )


if __name__ == "__main__":
    main(int(sys.argv[1]))
