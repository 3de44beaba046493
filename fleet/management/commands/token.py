"""``manage.py token``: makes an upload token for a site, replaces or revokes one."""

from __future__ import annotations

import re
from argparse import ArgumentParser
from datetime import datetime, timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fleet.management.arguments import REFUSED, WRONG_USAGE, moment
from fleet.models import AuditEntry, Site, UploadToken
from fleet.models.token import ROTATED_LASTS

PREFIX = re.compile(r"[0-9a-f]{8}")


class Command(BaseCommand):
    """Makes, replaces and revokes upload tokens."""

    help = "Make an upload token for a site and print it once; replace or revoke one."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """SITE, --revoke, --rotate with --hours, and --expires."""
        parser.add_argument("site", metavar="SITE")
        action = parser.add_mutually_exclusive_group()
        action.add_argument(
            "--revoke", metavar="PREFIX", help="refuse this token from now on (its 8 characters)"
        )
        action.add_argument(
            "--rotate", metavar="PREFIX", help="make one in the place of this, which then expires"
        )
        action.add_argument(
            "--expires", metavar="TIME", help="last until this RFC 3339 time (default: for ever)"
        )

        parser.add_argument(
            "--hours",
            type=int,
            default=ROTATED_LASTS // timedelta(hours=1),
            help="how long the one replaced by --rotate still lasts (default 24)",
        )

    def handle(self, **options: Any) -> None:
        """Make, replace or revoke; standard output holds the token alone, to be piped."""
        site = _registered_site(options["site"])
        if options["revoke"] is not None:
            self._revoke(site, options["revoke"])
            return
        if options["rotate"] is not None:
            self._rotate(site, options["rotate"], options["hours"])
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

    def _rotate(self, site: Site, prefix: str, hours: int) -> None:
        if hours < 0:
            raise CommandError("--hours must not be negative.", returncode=WRONG_USAGE)
        old = _of_site(site, "--rotate", prefix)
        token, text = UploadToken.objects.rotate(old, timezone.now(), timedelta(hours=hours))
        AuditEntry.objects.by_command("replaced a token", old, site.client.organisation_id)
        self.stdout.write(text)
        self.stderr.write(
            f"Token {token.prefix} of {site.code} takes the place of {prefix}, which lasts until "
            f"{old.expires_at:%Y-%m-%dT%H:%MZ}. It is shown only now."
        )

    def _revoke(self, site: Site, prefix: str) -> None:
        token = _of_site(site, "--revoke", prefix)
        token.revoke(timezone.now())
        AuditEntry.objects.by_command("revoked a token", token, site.client.organisation_id)
        self.stderr.write(f"Token {prefix} of {site.code} is revoked.")


def _of_site(site: Site, option: str, prefix: str) -> UploadToken:
    if not PREFIX.fullmatch(prefix):  # perhaps a whole token: not to be repeated
        raise CommandError(
            f"{option} takes the 8 characters behind millrace_ in the token, 0-9 and a-f.",
            returncode=WRONG_USAGE,
        )
    of_site = UploadToken.objects.filter(site=site)
    token = of_site.filter(prefix=prefix).first()
    if token is None or (option == "--rotate" and token.revoked_at is not None):
        valid = of_site.filter(revoked_at=None).values_list("prefix", flat=True)
        known = ", ".join(valid) or "none"
        raise CommandError(
            f"{site.code} has no token {prefix}; not revoked yet: {known}.", returncode=REFUSED
        )
    return token


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
