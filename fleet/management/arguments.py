"""What several commands read from their arguments, with the contract's exit status."""

from __future__ import annotations

from datetime import datetime

from django.core.management.base import CommandError

from fleet.models import Organisation, System

WRONG_USAGE = 2
REFUSED = 1


def moment(option: str, text: str) -> datetime:
    """An RFC 3339 time with offset. Raises CommandError with status 2."""
    try:
        parsed = datetime.fromisoformat(text)
    except ValueError:
        raise _bad_time(option, text, "is no RFC 3339 time") from None
    if parsed.tzinfo is None:
        raise _bad_time(option, text, "has no offset")
    return parsed


def registered_system(text: str) -> System:
    """The system that SITE/SYSTEM names. Raises CommandError: status 2 no such form, 1 unknown."""
    site, slash, code = text.partition("/")
    if not (site and slash and code) or "/" in code:
        raise CommandError(
            f"{text!r} does not name a system: write SITE/SYSTEM, for instance ferry-hall/R1.",
            returncode=WRONG_USAGE,
        )
    systems = System.objects.select_related("site")
    try:
        return systems.get(site__code=site, code=code)
    except System.DoesNotExist:
        raise CommandError(
            f"{text} is not registered: load its site folder with load_site first.",
            returncode=REFUSED,
        ) from None


def known_organisation(code: str) -> Organisation:
    """The organisation of that code. Raises CommandError: status 1, there is none."""
    try:
        return Organisation.objects.get(code=code)
    except Organisation.DoesNotExist:
        known = ", ".join(Organisation.objects.values_list("code", flat=True)) or "none"
        raise CommandError(
            f"there is no organisation {code!r}, only {known}: `organisation CODE NAME` makes one.",
            returncode=REFUSED,
        ) from None


def _bad_time(option: str, text: str, why: str) -> CommandError:
    return CommandError(
        f"{option} {text!r} {why}: write it as 2026-03-05T00:00:00Z.", returncode=WRONG_USAGE
    )
