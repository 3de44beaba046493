"""``manage.py organisation``: makes or renames an organisation, and invites its first manager."""

from __future__ import annotations

import re
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse

from fleet.management.arguments import WRONG_USAGE
from fleet.models import AuditEntry, Invitation, Organisation, Role
from fleet.notices import letters

CODE = re.compile(r"[a-z0-9-]{1,48}")


class Command(BaseCommand):
    """Makes organisations."""

    help = "Make or rename an organisation; with --invite, send its first manager a link."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Code, name and --invite."""
        parser.add_argument("code", metavar="CODE")
        parser.add_argument("name", metavar="NAME")
        parser.add_argument("--invite", metavar="MAIL", help="invite a manager by mail")

    def handle(self, **options: Any) -> None:
        """Make or rename; print the link of an invitation, once."""
        code, name = options["code"], options["name"]
        if not CODE.fullmatch(code):
            raise CommandError(
                f"{code!r} is no code: use a-z, 0-9 and hyphens, 48 at most.",
                returncode=WRONG_USAGE,
            )
        found, made = Organisation.objects.update_or_create(code=code, defaults={"name": name})
        what = "made the organisation" if made else "named the organisation"
        AuditEntry.objects.by_command(what, f"{code}: {name}", found.pk)
        self.stdout.write(f"{code}: {name}")
        if options["invite"]:
            invitation, text = Invitation.objects.make(found.pk, options["invite"], Role.MANAGER)
            link = settings.PUBLIC_ADDRESS + reverse("invitation", args=[text])
            letters.invite(invitation, settings.COMPANY_NAME or "Millrace", link)
            AuditEntry.objects.by_command("invited", invitation, found.pk)
            self.stdout.write(f"A letter to {invitation.email} is queued; the link in it is {link}")
