"""Pages in German: nothing of them is left in English."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client as Browser

from fleet.language import FOR_PROGRAMS
from fleet.models import (
    Client,
    EventNote,
    IndoorUnit,
    Invitation,
    LogMapping,
    Organisation,
    ShareLink,
    Site,
    SiteVisit,
    System,
    Webhook,
)
from tests.languages import marked
from tests.pages.scene import CANARY
from tests.people.doors import DOORS
from tests.people.world import NOBODY, World

ROLES = ("manager", "rep", "technician", NOBODY)
PROPER = (
    "Millrace", "English", "Deutsch", "JavaScript", "UTC", "kPa", "psi", "bar", "degC", "CSV",
    "Parquet", "PDF", "WET", "WEST", "NST", "NDT", "Lisbon", "St Johns",
    "31 Dec 2026", "31-Dec-2026", "ON, OFF",  # as a log writes them
)  # fmt: skip
"""Names and units, which are the same in every language."""


def names() -> set[str]:
    """What people have given names to; it stands on pages as they wrote it."""
    given: set[str] = {CANARY, *PROPER}
    for model, fields in (
        (Client, ("name", "code")),
        (Site, ("name", "code", "timezone")),
        (System, ("code", "refrigerant")),
        (IndoorUnit, ("code", "room")),
        (Organisation, ("name", "code")),
        (EventNote, ("text",)),
        (Invitation, ("email",)),
        (LogMapping, ("name",)),
        (Webhook, ("address",)),
        (SiteVisit, ("remark",)),
        (ShareLink, ("reader",)),
        (User, ("username", "first_name", "last_name", "email")),
    ):
        for row in model.objects.values_list(*fields):
            given |= {str(value) for value in row if value}
    titles = LogMapping.objects.values_list("layout__titles", flat=True)
    return given.union(*titles)


def pages() -> list[str]:
    """Addresses that answer a person with a page."""
    return [
        door.path
        for door in DOORS.values()
        if door.get == 200 and not door.path.startswith(FOR_PROGRAMS)
    ]


@pytest.mark.parametrize("who", ROLES)
def test_no_text_of_a_page_is_left_in_english(german: World, marks: None, who: str) -> None:
    browser = Browser(headers={"Accept-Language": "de"})
    if who != NOBODY:
        browser.post("/sign-in", {"username": german.people[who], "password": "open sesame 42"})
    allowed, seen, left = names(), 0, {}
    for path in pages():
        answer = browser.get(path.format(**german.ids))
        if answer.status_code == 200 and answer.headers["Content-Type"].startswith("text/html"):
            seen += 1
            text = answer.content.decode()
            assert '<html lang="de">' in text or "<html" not in text, path
            if found := marked.unmarked(text, allowed):
                left[path] = sorted(found)
    assert seen >= 5
    said = "\n".join(f"{path}\n    " + "\n    ".join(texts) for path, texts in left.items())
    assert not left, f"not translated on {len(left)} of {seen} pages:\n{said}"
