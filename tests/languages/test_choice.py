"""Whose language a page, a mail and an interface of programs is in."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone, translation
from pytest_django import Settings

from fleet import language
from fleet.models import News, NewsKind, Outgoing, PersonSettings
from fleet.notices import letters, mails, outbox
from fleet.pages import units
from fleet.pages.units import Preference
from tests.people.world import World

PASSWORD = "open sesame 42"


def signed_in(name: str, asks_for: str = "en") -> Browser:
    browser = Browser(headers={"Accept-Language": asks_for})
    browser.post("/sign-in", {"username": name, "password": PASSWORD})
    return browser


def choose(world: World, who: str, code: str) -> None:
    PersonSettings.objects.update_or_create(user=world.people[who], defaults={"language": code})


@pytest.mark.parametrize(
    ("chosen", "asks_for", "read"),
    [
        ("de", "en", "de"),
        ("en", "de", "en"),
        ("", "de-AT,de;q=0.9,en;q=0.5", "de"),
        ("", "fr,en;q=0.5", "en"),
        ("", "fr", "en"),
    ],
)
def test_what_a_person_chose_goes_before_their_browser(
    world: World, chosen: str, asks_for: str, read: str
) -> None:
    choose(world, "manager", chosen)
    answer = signed_in("mara", asks_for).get("/")
    assert f'<html lang="{read}">' in answer.content.decode()
    assert answer.headers["Content-Language"] == read
    assert {"Accept-Language", "Cookie"} <= set(answer.headers["Vary"].split(", "))


def test_a_choice_holds_at_once_and_at_the_next_sign_in(world: World) -> None:
    browser = signed_in("mara")
    sent = {"temperature": "degC", "pressure": "bar(g)", "mass": "kg", "digest": "off"}
    answer = browser.post("/settings/", sent | {"language": "de"}, follow=True)
    assert "Ihre Einstellungen sind gespeichert." in answer.content.decode()
    assert '<html lang="de">' in browser.get("/").content.decode()
    assert '<html lang="de">' in signed_in("mara").get("/").content.decode()
    browser.post("/settings/", sent | {"language": ""})
    assert '<html lang="en">' in browser.get("/").content.decode()


def test_visitors_get_their_browsers_language(world: World) -> None:
    german = Browser(headers={"Accept-Language": "de"})
    for path, says in (
        ("/sign-in", "Anmelden"),
        (f"/shared/{world.ids['shared']}/", "Dieser Link öffnet bis"),
        ("/offline", "Keine Verbindung"),
    ):
        text = german.get(path).content.decode()
        assert '<html lang="de">' in text
        assert says.lower() in text.lower()
        assert '<html lang="en">' in Browser().get(path).content.decode()


def test_what_is_not_there_says_so_in_german(world: World) -> None:
    choose(world, "manager", "de")
    answer = signed_in("mara").get("/sites/nowhere/")
    assert answer.status_code == 404
    assert '<html lang="de">' in answer.content.decode()
    assert "Hier ist nichts" in answer.content.decode()


def test_a_fault_of_ours_says_so_in_german(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("on purpose")

    monkeypatch.setattr("fleet.pages.ranking.page.Fleet", fail)
    choose(world, "manager", "de")
    browser = signed_in("mara")
    browser.raise_request_exception = False
    answer = browser.get("/")
    assert answer.status_code == 500
    assert '<html lang="de">' in answer.content.decode()
    assert "Auf unserer Seite ist etwas fehlgeschlagen" in answer.content.decode()


@pytest.mark.parametrize("path", ["/api/v1/ranking", "/api/v1/problems/not-found", "/readyz"])
def test_programs_are_answered_in_english(world: World, path: str) -> None:
    choose(world, "manager", "de")
    english, german = Browser(), signed_in("mara", "de")
    english.force_login(world.people["manager"])
    assert without_times(german.get(path)) == without_times(english.get(path))


def without_times(answer: object) -> str:
    text: str = answer.content.decode()  # type: ignore[attr-defined]
    return re.sub(r"\d{4}-\d\d-\d\dT[^\"]+|\d+(?:\.\d+)?", "", text)


def test_a_language_costs_no_query(world: World) -> None:
    counts = {}
    for code in ("", "en", "de"):
        choose(world, "manager", code)
        browser = signed_in("mara")
        browser.get("/")
        with CaptureQueriesContext(connection) as asked:
            browser.get("/")
        counts[code] = len(asked)
    assert len(set(counts.values())) == 1, counts


WHY = "Suspicion of too much refrigerant: suction superheat 5.4 K, usual 5 K."
IN_GERMAN = "Verdacht auf zu viel Kältemittel: Sauggasüberhitzung 5,4 K, üblich 5 K."


def test_mails_are_in_the_language_of_who_reads_them(world: World) -> None:
    choose(world, "technician", "de")
    for who in ("manager", "technician"):
        person = world.people[who]
        User.objects.filter(pk=person.pk).update(email=f"{person.username}@example.org")
        PersonSettings.objects.of(person.pk)
    event, now = world.scene.event, timezone.now()
    about = {"system": event.system, "condition": event.condition, "at": now, "since": now}
    News.objects.create(event=event, kind=NewsKind.OPENED, why=WHY, key="1", **about)
    mails.tell_urgent([News.objects.create(kind=NewsKind.URGENT, key="2", **about)])
    mails.queue_digests((now + timedelta(days=1)).replace(hour=7))
    outbox.send_waiting()
    texts = {
        who: "\n".join(it.subject + it.body for it in mail.outbox if it.to[0].startswith(who))
        for who in ("mara", "tess")
    }
    assert WHY in texts["mara"]
    assert "At once:" in texts["mara"]
    assert "Verdacht" not in texts["mara"]
    assert IN_GERMAN in texts["tess"]
    assert "Sofort:" in texts["tess"]
    assert "uspicion" not in texts["tess"]


def test_letters_without_a_choice_follow_who_asks_then_the_installation(
    world: World, settings: Settings
) -> None:
    tess = world.people["technician"]
    with translation.override("de"):
        letters.reset(tess, "https://example.org/x")
    Outgoing.objects.update(key="sent before")  # a letter a second is the limit
    choose(world, "technician", "en")
    tess = User.objects.get(pk=tess.pk)
    with translation.override("de"):
        letters.reset(tess, "https://example.org/y")
    subjects = Outgoing.objects.order_by("pk").values_list("subject", flat=True)
    assert list(subjects) == ["Ein neues Passwort", "A new password"]
    settings.MAIL_LANGUAGE = "de"
    assert language.of(world.people["rep"]) == "de"
    assert language.of(tess) == "en"


def test_numbers_have_the_readers_decimal_mark() -> None:
    prefer = Preference(temperature="degF", mass="lb")
    said = "suction superheat 5.4 K, usual 5 K"
    with translation.override("de"):
        assert units.number(-3.25, 2) == "−3,25"
        assert units.text(said, Preference()) == "Sauggasüberhitzung 5,4\u00a0K, üblich 5\u00a0K"
        assert units.text("noch 2.0 kg", prefer) == "noch 4,4\u00a0lb"
    assert units.number(-3.25, 2) == "−3.25"
    assert units.text(said, Preference()) == said.replace(" K", "\u00a0K")


def test_fields_for_days_hold_what_browsers_take(german: World) -> None:
    browser = Browser()
    browser.post("/sign-in", {"username": german.people["manager"], "password": "open sesame 42"})
    for path, fields in (("/events/{event}/", 2), ("/sites/ferry-hall/", 2)):
        page = browser.get(path.format(**german.ids)).content.decode()
        assert '<html lang="de">' in page
        days = [it for it in re.findall(r"<input[^>]*>", page) if 'type="date"' in it]
        assert len(days) >= fields
        given = [found[1] for it in days if (found := re.search(r'value="([^"]+)"', it))]
        assert given
        assert all(re.fullmatch(r"\d{4}-\d\d-\d\d", it) for it in given)


def test_dates_and_versions_keep_their_points() -> None:
    with translation.override("de"):
        for said in ("31.12.2026 23:59:00", "TimescaleDB 2.29.2", "10.0.0.1"):
            assert language.decimal(said) == said
        assert language.decimal("um 0.5 bis 12.25 K. Ende") == "um 0,5 bis 12,25 K. Ende"


DRAWN = ("x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "r", "d", "width", "height")
GIVEN = ("stroke-width", "value", "min", "max")
PAGES = ("/", "/clients/kingfisher/", "/sites/ferry-hall/", "/events/{event}/", "/rounds/")


@pytest.mark.parametrize("path", PAGES)
def test_drawings_and_inputs_keep_their_point(world: World, path: str) -> None:
    choose(world, "manager", "de")
    text = signed_in("mara").get(path.format(**world.ids)).content.decode()
    numbers = re.findall(rf'\s(?:{"|".join(DRAWN + GIVEN)})="([^"]*)"', text)
    assert len(numbers) > 3
    assert not [it for it in numbers if re.search(r"\d,\d", it)]
