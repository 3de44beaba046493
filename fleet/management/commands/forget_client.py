"""``manage.py forget_client``: deletes everything of one client."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.management.arguments import REFUSED
from fleet.models import Client
from fleet.operations import retention


class Command(BaseCommand):
    """Says what would be deleted; deletes it with --yes."""

    help = "Delete a client with all its sites, data and results. Says what, unless --yes."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """CODE and --yes."""
        parser.add_argument("client", metavar="[ORGANISATION/]CODE")
        parser.add_argument("--yes", action="store_true", help="do it; there is no way back")

    def handle(self, **options: Any) -> None:
        """Look, say, and do it if asked to."""
        client = _named(options["client"])
        has = retention.belongings(client)
        what = (
            f"{client.name} ({client.code}): {has.sites} sites, {has.systems} systems, "
            f"{has.uploads} uploads, {has.samples} rows of samples, {has.windows} windows, "
            f"{has.events} events"
        )
        if not options["yes"]:
            self.stdout.write(f"Would delete {what}. Nothing is done without --yes.")
            return
        retention.forget(client)
        self.stdout.write(f"Deleted {what}. Backups made before still hold them.")


def _named(text: str) -> Client:
    """The client of that code. Raises CommandError: there is none, or in several organisations."""
    organisation, _, code = text.rpartition("/")
    found = Client.objects.filter(code=code).select_related("organisation")
    if organisation:
        found = found.filter(organisation__code=organisation)
    if found.count() == 1:
        return found.get()
    if found:
        full = ", ".join(f"{it.organisation and it.organisation.code}/{it.code}" for it in found)
        raise CommandError(f"{text!r} may be any of {full}: name one.", returncode=REFUSED)
    known = ", ".join(Client.objects.order_by("code").values_list("code", flat=True))
    raise CommandError(
        f"no client has the code {text!r}; known: {known or 'none'}.", returncode=REFUSED
    )
