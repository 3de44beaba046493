"""Start-up checks: what must hold before data may be entrusted to this installation."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from typing import Any

from django.core import checks
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections

from fleet import broker
from fleet.broker import BrokerError
from fleet.embedded import EmbeddedError, data_folder, ensure
from fleet.pages.report import pdf

_OLDEST_POSTGRESQL = 16
_CLOCKS_APART_S = 5.0


@register(Tags.files)
def data_folder_is_writable(**_: Any) -> list[CheckMessage]:
    """The secret key and, without DATABASE_URL, all data live in the data folder."""
    given = ("DATABASE_URL", "REDIS_URL", "SECRET_KEY")
    if all(os.environ.get(name) for name in given):
        return []
    folder = data_folder()
    nearest = next(path for path in (folder, *folder.parents) if path.exists())
    if nearest.is_dir() and os.access(nearest, os.W_OK | os.X_OK):
        return []
    return [
        Error(
            f"the data folder {folder} cannot be written.",
            hint="Set MILLRACE_DATA to a folder this user may write, or give all of "
            f"{', '.join(given)}.",
            id="millrace.E001",
        )
    ]


@register()
def pdf_can_be_written(**_: Any) -> list[CheckMessage]:
    """Reports are handed out as PDF, which needs libraries that Python packages do not bring."""
    if not (missing := pdf.missing()):
        return []
    return [
        checks.Warning(
            f"reports cannot be written as PDF: {', '.join(missing)} missing.",
            hint=pdf.HINT,
            id="millrace.W003",
        )
    ]


@register(Tags.database)
def database_keeps_what_it_committed(
    databases: Sequence[str] | None = None, **_: Any
) -> list[CheckMessage]:
    """An upload is acknowledged when it is committed; that must survive a power cut."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        with connections[alias].cursor() as cursor:
            cursor.execute(
                "SELECT current_setting('fsync'), current_setting('synchronous_commit'), "
                "current_setting('full_page_writes'), current_setting('server_version_num')::int"
            )
            fsync, synchronous_commit, full_page_writes, version = cursor.fetchone()
        found += _unsafe("fsync", fsync, "millrace.E002")
        found += _unsafe("synchronous_commit", synchronous_commit, "millrace.E003")
        found += _unsafe("full_page_writes", full_page_writes, "millrace.E004")
        if version < _OLDEST_POSTGRESQL * 10_000:
            found.append(
                Error(
                    f"the database server is PostgreSQL {version // 10_000}.",
                    hint=f"Use PostgreSQL {_OLDEST_POSTGRESQL} or newer.",
                    id="millrace.E005",
                )
            )
    return found


@register(Tags.database)
def clocks_agree(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Times of arrival, of tokens' ends and of log lines come from several servers."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        with connections[alias].cursor() as cursor:
            cursor.execute("SELECT extract(epoch FROM clock_timestamp())")
            apart_s = time.time() - float(cursor.fetchone()[0])
        if abs(apart_s) > _CLOCKS_APART_S:
            found.append(
                checks.Warning(
                    f"this server's clock is {apart_s:+.0f} s from the database server's.",
                    hint="Let both follow a time server. See manage.py runbook clock-wrong.",
                    id="millrace.W002",
                )
            )
    return found


@register(Tags.database)
def broker_answers(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Without a broker nothing is lost, but nothing is analysed either."""
    if not databases:
        return []
    try:
        ensure()
        broker.ask()
    except (EmbeddedError, BrokerError) as error:
        return [
            checks.Warning(
                f"the broker does not answer: {error}",
                hint="Start it, or correct REDIS_URL. Uploads are kept and analysed later. "
                "See manage.py runbook broker-down.",
                id="millrace.W001",
            )
        ]
    return []


def _unsafe(setting: str, value: str, identity: str) -> list[CheckMessage]:
    if value != "off":
        return []
    return [
        Error(
            f"the database server runs with {setting} = off: what it acknowledged can be lost.",
            hint=f"Set {setting} = on in the server's postgresql.conf and reload it. "
            "See manage.py runbook database-down.",
            id=identity,
        )
    ]
