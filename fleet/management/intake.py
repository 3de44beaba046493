"""What load_site and upload share: take files in, say what became of them, wait for analysis."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import sleep

from django.core.management.base import CommandError, OutputWrapper

from fleet import tasks
from fleet.analysis import backlog, days
from fleet.ingest.receive import receive
from fleet.ingest.report import Complaint, RefusedError
from fleet.ingest.take_in import take_in
from fleet.ingest.unpack import check_length
from fleet.management.arguments import REFUSED
from fleet.models import DueDay, System, Upload, UploadState

FEW = 3
"""Files up to which no progress is drawn."""

SHOWN_COMPLAINTS = 10
POLL_S = 0.2


@dataclass(frozen=True)
class File:
    """A file for a system, under the name people know it by."""

    path: Path
    system: System
    name: str


class Intake:
    """Takes files in; keeps count of what was refused."""

    def __init__(self, stdout: OutputWrapper, stderr: OutputWrapper) -> None:
        self.stdout, self.stderr = stdout, stderr
        self.refused = 0
        self.systems: set[int] = set()

    def take(self, files: list[File], *, replace: bool = False) -> None:
        """Take files in, one after the other; a line each, what was wrong on standard error."""
        with _progress("Taking files in", len(files)) as advance:
            for file in files:
                self._take(file, replace)
                advance(1)

    def _take(self, file: File, replace: bool) -> None:
        try:
            check_length(file.path.stat().st_size)
            upload, created = receive(
                file.system, file.name, file.path.read_bytes(), replace=replace
            )
        except OSError as error:
            self.refuse(file.name, f"cannot be read ({error.strerror or error})")
            return
        except RefusedError as refusal:
            self.refuse(file.name, str(refusal))
            return
        self._follow(file.name, upload, "" if created else "known already, ")

    def take_waiting(self, system_ids: Iterable[int]) -> None:
        """Take in what lies stored, be it left over or to be read again."""
        stored = Upload.objects.filter(system_id__in=list(system_ids), state=UploadState.STORED)
        for upload in stored.defer("body").select_related("system__site").order_by("received_at"):
            self._follow(str(upload), upload, "waiting since before, ")

    def _follow(self, name: str, upload: Upload, how: str) -> None:
        """Take a stored upload in and say what became of it, or of one known already."""
        known = upload.state != UploadState.STORED
        upload = _until_taken_in(upload)
        self.systems.add(upload.system_id)
        if upload.state == UploadState.REFUSED:
            self.refused += 1
            self.stdout.write(f"{name}: {how}refused")
        else:
            self.stdout.write(f"{name}: {how}{_summary(upload)}")
        if upload.state == UploadState.REFUSED or not known:
            self._list(name, upload)

    def refuse(self, name: str, reason: str) -> None:
        """Count an input that was refused and say why."""
        self.refused += 1
        self.stdout.write(f"{name}: refused")
        self.stderr.write(f"{name}: {reason}")

    def _list(self, name: str, upload: Upload) -> None:
        complaints = [Complaint(**reason) for reason in upload.reasons]
        for complaint in complaints[:SHOWN_COMPLAINTS]:
            self.stderr.write(f"{name}: {complaint}")
        if (more := len(complaints) - SHOWN_COMPLAINTS) > 0:
            self.stderr.write(f"{name}: and {more} more are listed in the upload's report")
        if upload.unknown_columns:
            self.stderr.write(f"{name}: unknown columns: {', '.join(upload.unknown_columns)}")

    def finish(self, *, wait: bool) -> None:
        """Analyse, or ring for workers to do so; without any, the days stay due.

        Raises CommandError with status 1 if anything was refused.
        """
        self.take_waiting(self.systems)
        if wait:
            self._analyse()
        elif due := DueDay.objects.filter(system_id__in=self.systems).count():
            tasks.ring(tasks.sweep)  # one message, since each takes seconds without a broker
            self.stdout.write(f"{due} days wait for analysis by a worker; --wait does it here")
        if self.refused:
            raise CommandError(
                f"{self.refused} of the inputs refused or not analysed; the rest is taken in.",
                returncode=REFUSED,
            )

    def _analyse(self) -> None:
        """Analyse in this process, beside workers if any, until nothing is due."""
        waiting = DueDay.objects.filter(system_id__in=self.systems)
        with _progress("Analysing days", waiting.count()) as advance:
            while True:
                for system_id in sorted(self.systems):
                    backlog.work_off(system_id, progress=advance)
                if not waiting.exclude(days.PARKED).exists():
                    break
                sleep(POLL_S)
        for day in waiting.select_related("system__site"):
            self.refused += 1
            self.stderr.write(f"{day}: could not be analysed: {day.failure or 'process died'}")


@contextmanager
def _progress(title: str, total: int) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal, when there is much to do; yields what moves it on."""
    from rich import console, progress  # here, since nobody who asks for help needs a bar

    columns = (
        progress.TextColumn(title),
        progress.BarColumn(),
        progress.MofNCompleteColumn(),
        progress.TimeRemainingColumn(),
    )
    terminal = console.Console(stderr=True)
    hidden = total <= FEW or not terminal.is_terminal
    with progress.Progress(*columns, console=terminal, disable=hidden) as bar:
        task = bar.add_task(title, total=total)
        yield partial(bar.advance, task)


def _until_taken_in(upload: Upload) -> Upload:
    # Somebody else may be at it, or it failed for a passing reason.
    while upload.state == UploadState.STORED:
        upload = take_in(upload.pk)
        if upload.state == UploadState.STORED:
            sleep(POLL_S)
    return upload


def _summary(upload: Upload) -> str:
    parts = [f"{upload.rows_accepted} rows taken in"]
    counts = (
        (upload.rows_left_out, "rows left out"),
        (upload.cells_left_out, "cells left out"),
        (upload.cells_differing, "cells differing"),
        (upload.cells_replaced, "cells replaced"),
        (len(upload.unknown_columns), "unknown columns"),
    )
    parts += [f"{count} {what}" for count, what in counts if count]
    return ", ".join(parts)
