"""For whoever watches the installation: readiness, and metrics. Liveness is fleet.pages.health."""

from __future__ import annotations

import logging
from collections.abc import Callable

from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone

from fleet import broker as to_broker
from fleet.api.guard import RETRY_AFTER_S, explained
from fleet.api.measures import measures
from fleet.api.open_metrics import MEDIA_TYPE, exposition
from fleet.api.problems import Problem, answer
from fleet.broker import BrokerError
from fleet.embedded import EmbeddedError

logger = logging.getLogger(__name__)

OK = "ok"
RUNBOOK = {"database": "database-down", "migrations": "bad-deploy", "broker": "broker-down"}
"""Where `manage.py runbook`, or /runbook/, says what to do."""


@explained
def readyz(_request: HttpRequest) -> HttpResponse:
    """200 when database, broker and migrations are as they must be, else 503 and what is not.

    Without the broker uploads are still taken and kept, but analysed late.
    """
    checks = {check.__name__: check() for check in (database, migrations, broker)}
    if all(found == OK for found in checks.values()):
        return JsonResponse(checks)
    failed = {name: found for name, found in checks.items() if found != OK}
    detail = "; ".join(f"{name}: {found}" for name, found in failed.items())
    headers = {"Retry-After": str(RETRY_AFTER_S)}
    pages = [f"/runbook/{RUNBOOK[name]}/" for name in failed]
    return answer(Problem.UNAVAILABLE, detail, headers, **checks, runbook=pages)


@explained
def metrics(_request: HttpRequest) -> HttpResponse:
    """OpenMetrics text."""
    return HttpResponse(exposition(measures(timezone.now())), content_type=MEDIA_TYPE)


def database() -> str:
    """Whether it answers a query."""

    def ask() -> str:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        return OK

    return _or_away(ask, "does not answer")


def migrations() -> str:
    """Whether all of them are applied."""

    def ask() -> str:
        executor = MigrationExecutor(connection)
        missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
        return f"{len(missing)} are not applied" if missing else OK

    return _or_away(ask, "cannot be read")


def broker() -> str:
    """Whether it can be reached."""

    def ask() -> str:
        to_broker.ask()
        return OK

    return _or_away(ask, "does not answer")


def _or_away(ask: Callable[[], str], otherwise: str) -> str:
    """What was found; the reason of a failure is for the log, since anybody may ask."""
    try:
        return ask()
    except (DatabaseError, EmbeddedError, BrokerError, OSError):
        logger.exception("A readiness check failed")
        return otherwise
