"""``manage.py token``: makes an upload token for a site, or revokes one."""

from __future__ import annotations

import re
from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fleet.management.arguments import REFUSED, WRONG_USAGE, moment
from fleet.models import AuditEntry, Site, UploadToken

PREFIX = re.compile(r"[0-9a-f]{8}")


class Command(BaseCommand):
    """Makes and revokes upload tokens."""

    help = "Make an upload token for a site and print it once, or revoke one."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """SITE, --revoke and --expires."""
        parser.add_argument("site", metavar="SITE")
        action = parser.add_mutually_exclusive_group()
        action.add_argument(
            "--revoke", metavar="PREFIX", help="refuse this token from now on (its 8 characters)"
        )
        action.add_argument(
            "--expires", metavar="TIME", help="last until this RFC 3339 time (default: for ever)"
        )

    def handle(self, **options: Any) -> None:
        """Make or revoke; standard output holds the token alone, so that it can be piped."""
        site = _registered_site(options["site"])
        if options["revoke"] is not None:
            self._revoke(site, options["revoke"])
            return
        expires_at = _future("--expires", options["expires"]) if options["expires"] else None
        token, text = UploadToken.objects.make(site, expires_at)
        AuditEntry.objects.by_command("made a token", token, site.client.organisation_id)
        self.stdout.write(text)
        until = f"lasts until {expires_at.isoformat()}" if expires_at else "does not expire"
        self.stderr.write(
            f"An upload token for {site.code}, which {until}. It is shown only now. "
            f"To revoke it: token {site.code} --revoke {token.prefix}"
        )

    def _revoke(self, site: Site, prefix: str) -> None:
        if not PREFIX.fullmatch(prefix):  # perhaps a whole token: not to be repeated
            raise CommandError(
                "--revoke takes the 8 characters behind millrace_ in the token, 0-9 and a-f.",
                returncode=WRONG_USAGE,
            )
        of_site = UploadToken.objects.filter(site=site)
        token = of_site.filter(prefix=prefix).first()
        if token is None:
            valid = of_site.filter(revoked_at=None).values_list("prefix", flat=True)
            known = ", ".join(valid) or "none"
            raise CommandError(
                f"{site.code} has no token {prefix}; not revoked yet: {known}.", returncode=REFUSED
            )
        token.revoke(timezone.now())
        AuditEntry.objects.by_command("revoked a token", token, site.client.organisation_id)
        self.stderr.write(f"Token {prefix} of {site.code} is revoked.")


def _registered_site(code: str) -> Site:
    site = Site.objects.select_related("client").filter(code=code).first()
    if site is None:
        raise CommandError(
            f"{code} is not registered: load its site folder with load_site first.",
            returncode=REFUSED,
        )
    return site


def _future(option: str, text: str) -> datetime:
    parsed = moment(option, text)
    if parsed <= timezone.now():
        raise CommandError(f"{option} {text!r} is past already.", returncode=WRONG_USAGE)
    return parsed
