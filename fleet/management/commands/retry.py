"""``manage.py retry``: gives work that was set aside another chance."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError

from fleet.management.arguments import REFUSED
from fleet.operations import set_aside


class Command(BaseCommand):
    """Lists what is set aside, or puts it back into the queue."""

    help = "List uploads and days given up after failures that are not the sender's; retry them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """UPLOAD... or --all; nothing lists."""
        parser.add_argument("uploads", metavar="UPLOAD", nargs="*", type=UUID)
        parser.add_argument("--all", action="store_true", help="retry every upload and every day")

    def handle(self, **options: Any) -> None:
        """Retry what was named, or list."""
        if options["all"]:
            done = set_aside.retry_everything()
            self.stdout.write(f"{done.uploads} uploads and {done.days} days wait for a worker.")
        elif options["uploads"]:
            self._retry(options["uploads"])
        else:
            self._list()

    def _retry(self, chosen: list[UUID]) -> None:
        known = set(set_aside.uploads().filter(pk__in=chosen).values_list("pk", flat=True))
        done = set_aside.retry_uploads(known)
        self.stdout.write(f"{done} uploads wait for a worker.")
        if others := [str(each) for each in chosen if each not in known]:
            raise CommandError(
                f"not set aside, so left alone: {', '.join(others)}. "
                "Without arguments, retry lists what is.",
                returncode=REFUSED,
            )

    def _list(self) -> None:
        for upload in set_aside.uploads():
            reason = upload.reasons[0]["reason"] if upload.reasons else ""
            self.stdout.write(f"{upload.pk} {upload.system} {upload.name}: {reason}")
        for due in set_aside.parked_days():
            self.stdout.write(f"{due}: {due.failure or 'the process that analysed it died'}")
