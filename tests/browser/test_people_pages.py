"""The pages about people have no fault that axe-core finds, on a phone and on a desk."""

from __future__ import annotations

from typing import Literal

import pytest
from django.contrib.auth.models import User
from django.contrib.auth.tokens import default_token_generator
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from fleet.models import Client, Invitation, Organisation, Role, Webhook
from fleet.notices import hooks, mails
from tests.browser.looking import SIZES, faults, keep, over_the_edge, sign_in
from tests.pages import scene


def addresses() -> tuple[dict[str, str], dict[str, str]]:
    """Pages of somebody who is signed in, and those that need no session."""
    client = Client.objects.create(code="tern", name="Tern Halls")
    manager = scene.person("mara", Role.MANAGER)
    User.objects.filter(pk=manager.pk).update(email="mara@example.org", first_name="Mara")
    rep = scene.person("rhea", Role.ACCOUNT_REP, client)
    organisation = Organisation.objects.default()
    waiting, text = Invitation.objects.make(organisation.pk, "new@example.org", Role.TECHNICIAN)
    hook = Webhook.objects.create(organisation=organisation, address="https://example.org/told")
    hooks.trial(hook)
    place = urlsafe_base64_encode(force_bytes(rep.pk)), default_token_generator.make_token(rep)
    inside = {
        "settings": "/settings/",
        "password": "/settings/password",
        "second-factor": "/settings/second-factor",
        "people": "/people/",
        "person": f"/people/{rep.pk}/",
        "myself": f"/people/{manager.pk}/",
        "record": "/record/",
        "webhooks": "/webhooks/",
    }
    outside = {
        "forgotten": "/password/forgotten",
        "sent": "/password/sent",
        "new-password": f"/password/new/{place[0]}/{place[1]}/",
        "old-link": "/password/new/MQ/x-y/",
        "invitation": f"/invitation/{text}/",
        "stop": mails.stop_link(manager, mails.DIGEST).partition("localhost:8000")[2],
    }
    assert waiting.waiting
    return inside, outside


def look(page: Page, name: str) -> list[str]:
    """What axe finds, and whether anything reaches over the edge."""
    keep(page, name)
    return [*faults(page), *over_the_edge(page)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_about_people_has_a_fault(
    transactional_db: None,
    browser: Browser,
    live_server: LiveServer,
    scheme: Literal["light", "dark"],
    size: str,
) -> None:
    inside, outside = addresses()
    context = browser.new_context(viewport=SIZES[size], color_scheme=scheme)
    page, found = context.new_page(), dict[str, list[str]]()
    for name, address in outside.items():
        page.goto(live_server.url + address)
        found[name] = look(page, f"{name}-{size}-{scheme}")
    sign_in(page, live_server.url, "mara")
    for name, address in inside.items():
        page.goto(live_server.url + address)
        found[name] = look(page, f"{name}-{size}-{scheme}")
    page.goto(f"{live_server.url}/settings/second-factor")
    page.get_by_role("button", name="Set it up").click()
    page.get_by_label("Code", exact=True).wait_for()
    found["setting-up"] = look(page, f"setting-up-{size}-{scheme}")
    context.close()
    assert len(found) == len(inside) + len(outside) + 1
    assert not {name: said for name, said in found.items() if said}
