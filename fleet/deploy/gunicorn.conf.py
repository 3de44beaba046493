"""The web server's settings behind a proxy that ends TLS; see docker-compose.yml."""

from __future__ import annotations

import os

bind = os.environ.get("WEB_BIND", "0.0.0.0:8000")  # a container has a network of its own
workers = int(os.environ.get("WEB_PROCESSES", "2"))
worker_class = "gthread"
# Each thread may hold one database connection; see max_connections in docker-compose.yml.
threads = int(os.environ.get("WEB_THREADS", "8"))
# A process silent for so long is killed; an upload of 64 MiB over a slow line goes on in a thread.
timeout = 60
graceful_timeout = 20
keepalive = 15
max_requests = 5000
max_requests_jitter = 500
worker_tmp_dir = "/dev/shm"  # noqa: S108  gunicorn's heartbeat, which a slow disk must not stop
errorlog = "-"
control_socket_disable = True  # nobody uses it, and the container's root is read-only
