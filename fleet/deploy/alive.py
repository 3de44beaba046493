"""Whether the web server of this container answers: the container's health check."""

from __future__ import annotations

import os
import urllib.request

PORT = os.environ.get("WEB_BIND", "0.0.0.0:8000").rpartition(":")[2]

with urllib.request.urlopen(f"http://localhost:{PORT}/healthz", timeout=8) as answer:
    answer.read()
