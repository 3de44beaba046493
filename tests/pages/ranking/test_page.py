"""Where next, and why."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Client, Membership, Site
from tests.pages import scene
from tests.pages.scene import CANARY, Scene, signed_in

QUERIES = 16
"""Three of the person, three of the whole fleet, six of the page's rows, three of what changed, and
one for whom to send."""


def page(user: scene.User, query: str = "") -> str:
    answer = signed_in(user).get(f"/{query}")
    assert answer.status_code == 200
    return answer.content.decode()


def test_somebody_not_signed_in_is_sent_to_sign_in(fleet: Scene, client: scene.Browser) -> None:
    answer = client.get("/")
    assert answer.status_code == 302
    assert answer["Location"] == "/sign-in?next=/"


def test_the_manager_reads_where_to_go_next_and_why(fleet: Scene) -> None:
    seen = page(fleet.manager)
    first = seen.index("First in line")
    assert seen.index(f"{CANARY} Ferry Hall", first) < seen.index("Mill Lane", first)
    assert "too much refrigerant" in seen
    assert "very likely, 86\u00a0%" in seen
    assert "subcooling is 12.4\u00a0K, expected 5.0\u00a0K" in seen
    assert f'href="/events/{fleet.event.pk}/"' in seen


def test_the_technician_sees_only_where_an_event_is_assigned(fleet: Scene) -> None:
    seen = page(fleet.technician)
    assert CANARY in seen
    assert "Mill Lane" not in seen


def test_the_rep_of_another_client_sees_nothing_of_this_one(fleet: Scene) -> None:
    seen = page(fleet.outsider)
    assert "Mill Lane" in seen
    assert CANARY not in seen


def test_a_person_without_a_role_sees_no_site(fleet: Scene) -> None:
    Membership.objects.filter(user=fleet.manager).delete()
    seen = page(fleet.manager)
    assert CANARY not in seen
    assert "Mill Lane" not in seen


def test_every_reader_gets_the_question_they_came_with(fleet: Scene) -> None:
    assert "<h1>Where next, and why</h1>" in page(fleet.manager)
    assert "<h1>Where you are sent, and why</h1>" in page(fleet.technician)
    assert "<h1>Your clients’ buildings, and why</h1>" in page(fleet.rep)


def test_search_narrows_to_what_every_word_matches(fleet: Scene) -> None:
    assert "Mill Lane" not in page(fleet.manager, "?q=ferry+kingfisher").split('id="list"')[1]
    assert CANARY not in page(fleet.manager, "?q=plover").split('id="list"')[1]
    assert "No site matches" in page(fleet.manager, "?q=ferry+plover")


def test_htmx_gets_the_list_alone(fleet: Scene) -> None:
    answer = signed_in(fleet.manager).get("/?q=mill", headers={"HX-Request": "true"})
    seen = answer.content.decode()
    assert "<html" not in seen
    assert "Mill Lane" in seen
    assert CANARY not in seen


def test_lack_of_data_is_said_and_never_shown_as_health(fleet: Scene) -> None:
    silent = scene.system(
        Site.objects.create(
            client=fleet.client, code="quay", name=f"{CANARY} Quay", timezone="Europe/Lisbon"
        )
    )
    seen = page(fleet.manager, "?show=blind")
    assert f"{CANARY} Quay" in seen
    assert "Cannot be judged: not enough data" in seen
    assert "No data have been analysed yet." in seen
    assert "no sign of a fault" not in seen.split('id="list"')[1].lower()
    assert str(silent.site.name) not in page(fleet.manager, "?show=quiet")


def test_the_last_sample_is_told_in_the_sites_zone(fleet: Scene) -> None:
    last = fleet.other_site.systems.get().standing.last_sample
    local = last.astimezone(fleet.other_site.zone)
    assert f"{local:%H:%M} {local.tzname()}" in page(fleet.manager)


def test_a_withdrawn_or_closed_event_is_not_counted_open(fleet: Scene) -> None:
    fleet.event.withdrawn = True
    fleet.event.save()
    assert f"/events/{fleet.event.pk}/" not in page(fleet.manager)


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", '"><img src=x onerror=a>', "a&b"])
def test_hostile_names_are_escaped(fleet: Scene, name: str) -> None:
    Site.objects.filter(pk=fleet.site.pk).update(name=name)
    Client.objects.filter(pk=fleet.client.pk).update(name=name)
    for query in ("", "?q=%3Cscript%3Ealert(1)", "?show=%22%3E%3Cscript%3E"):
        seen = page(fleet.manager, query)
        assert "<script>alert" not in seen
        assert "<img src=x" not in seen
        assert '"><script>' not in seen


def test_the_number_of_queries_does_not_grow_with_the_fleet(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    with CaptureQueriesContext(connection) as few:
        browser.get("/")
    for i in range(30):
        site = Site.objects.create(
            client=fleet.client, code=f"site-{i}", name=f"Site {i}", timezone="Europe/Lisbon"
        )
        for code in ("R1", "R2"):
            made = scene.system(site, code)
            scene.stand(made, "overcharge", 0.7, 50.0 + i)
            scene.open_event(made)
    with CaptureQueriesContext(connection) as many:
        browser.get("/")
    assert len(many) == len(few) <= QUERIES, [query["sql"] for query in many]
