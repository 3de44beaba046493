"""What lets pages open without a connection, and what ends it."""

from __future__ import annotations

from django.test import Client as Browser

from tests.pages.scene import CANARY, Scene, signed_in


def test_the_worker_comes_from_the_root_and_is_asked_for_anew(client: Browser) -> None:
    answer = client.get("/offline-worker.js")
    assert answer["Content-Type"] == "text/javascript"
    assert answer["Cache-Control"] == "no-cache"


def test_event_pages_ask_to_be_kept_for_this_person_and_others_do_not(fleet: Scene) -> None:
    browser = signed_in(fleet.technician)
    kept = f'<body data-person="{fleet.technician.pk}" data-field="1">'
    assert kept in browser.get(f"/events/{fleet.event.pk}/").content.decode()
    assert 'data-field="1"' not in browser.get("/clients/").content.decode()


def test_signing_out_empties_the_browsers_stores(fleet: Scene) -> None:
    answer = signed_in(fleet.technician).post("/sign-out")
    assert answer["Clear-Site-Data"] == '"cache", "storage"'


def test_the_page_for_nothing_kept_names_nobody(fleet: Scene) -> None:
    seen = signed_in(fleet.technician).get("/offline").content.decode()
    assert CANARY not in seen
    assert "tess" not in seen
