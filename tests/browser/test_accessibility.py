"""No page has a fault that axe-core finds, in light and in dark, on a phone and on a desk."""

from __future__ import annotations

import hashlib
import re
from datetime import timedelta
from typing import Literal

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from fleet.ingest import circumstances, proposal, sniff
from fleet.models import Event, LogMapping, ShareLink, SiteVisit, VisitOutcome
from tests.browser.looking import (
    AXE,
    SIZES,
    VENDOR,
    drawn,
    faults,
    open_all,
    over_the_edge,
    sign_in,
)
from tests.ingest.test_mapping import foreign


def test_axe_is_the_file_its_list_names() -> None:
    listed = re.findall(r"^\| (\S+) \| .* \| ([0-9a-f]{64}) \|$", _vendored(), re.MULTILINE)
    assert listed == [(AXE.name, hashlib.sha256(AXE.read_bytes()).hexdigest())]


def _vendored() -> str:
    return (VENDOR / "VENDOR.md").read_text("utf-8")


def addresses(event: Event) -> dict[str, str]:
    """Every page by name, with something on it; ``shared`` needs no session."""
    system = event.system
    client = system.site.client
    SiteVisit.objects.create(
        event=event, visited_on=timezone.localdate(), outcome=VisitOutcome.CONFIRMED
    )
    expires_at = timezone.now() + timedelta(days=7)
    link = ShareLink.objects.create(client=client, reader="the owner", expires_at=expires_at)
    look = sniff.look(foreign())
    told = proposal.propose(look, circumstances.of(system), proposal.rooms_of(system))
    mapping = LogMapping.objects.create(
        site=system.site,
        system=system,
        name="day.csv",
        sample=foreign(),
        layout=proposal.layout_of(look, told).as_json(),
    )
    return {
        "ranking": "/",
        "rounds": "/rounds/",
        "offline": "/offline",
        "building": f"/sites/{system.site.code}/",
        "months": f"/sites/{system.site.code}/months/",
        "clients": "/clients/",
        "client": f"/clients/{client.code}/",
        "shared": f"/shared/{link.token}/",
        "charge": f"/sites/{system.site.code}/{system.code}/charge/?limit=1",
        "logs": "/logs/",
        "taught": "/taught/",
        "mapping": f"/logs/{mapping.pk}/",
        "event": f"/events/{event.pk}/",
        "not found": "/sites/no-such-place/",
    }


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_a_fault(
    event: Event,
    browser: Browser,
    live_server: LiveServer,
    scheme: Literal["light", "dark"],
    size: str,
) -> None:
    context = browser.new_context(viewport=SIZES[size], color_scheme=scheme)
    page = context.new_page()
    found: dict[str, list[str]] = {}
    page.goto(f"{live_server.url}/sign-in")
    found["sign-in"] = faults(page)
    sign_in(page, live_server.url, "mara")
    for name, address in addresses(event).items():
        page.goto(live_server.url + address)
        drawn(page)
        open_all(page)
        found[name] = [*faults(page), *over_the_edge(page)]
    context.close()
    assert not {name: said for name, said in found.items() if said}


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        ("document.querySelector('h1').remove()", "page-has-heading-one"),
        ("document.querySelector('label').remove()", "label"),
        ("document.documentElement.removeAttribute('lang')", "html-has-lang"),
    ],
)
def test_axe_would_find_a_fault(
    browser: Browser, live_server: LiveServer, spoil: str, fault: str
) -> None:
    page: Page = browser.new_page()
    page.goto(f"{live_server.url}/sign-in")
    page.evaluate(f"() => {{ {spoil} }}")
    found = faults(page)
    page.close()
    assert any(text.startswith(f"{fault}:") for text in found), found
