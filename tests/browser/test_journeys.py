"""Three people, three questions: from sign-in to the answer in few clicks, also offline."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from fleet.models import Event, EventState, Role, SiteVisit, VisitOutcome
from tests.browser.conftest import PASSWORD
from tests.pages import scene

MOST_CLICKS = 4
PHONE = {"width": 390, "height": 844}
SMALL = """() => [...document.querySelectorAll(
    'main button, main .button, main select, main summary, main input:not([type=hidden]),'
    + '.jump a, .spans a, .counts a, .top a, .top button')]
  .filter(it => it.offsetParent !== null && !it.closest('details:not([open]) > :not(summary)'))
  .map(it => it.closest('label.outcome, label.picker, label.check') || it)
  .filter(it => { const box = it.getBoundingClientRect();
                  return box.height > 0 && (box.height < 43.5 || box.width < 43.5); })
  .map(it => it.outerHTML.slice(0, 90))"""


@dataclass
class Person:
    """Somebody at a browser, whose clicks are counted."""

    context: BrowserContext
    page: Page
    address: str
    clicks: int = 0

    def click(self, role: str, name: str) -> None:
        """One click on what is called so."""
        self.page.get_by_role(role, name=re.compile(name)).first.click()  # type: ignore[arg-type]
        self.clicks += 1

    def sign_in(self, name: str) -> None:
        """Name, password, and one click."""
        self.page.goto(f"{self.address}/sign-in")
        self.page.get_by_label("Name").fill(name)
        self.page.get_by_label("Password").fill(PASSWORD)
        self.click("button", "Sign in")
        expect(self.page.get_by_role("heading", level=1)).to_contain_text(", and why")


@pytest.fixture
def person(browser: Browser, live_server: LiveServer) -> Iterator[Person]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    yield Person(context, context.new_page(), live_server.url)
    context.close()


@pytest.fixture
def on_a_phone(browser: Browser, live_server: LiveServer) -> Iterator[Person]:
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]
    yield Person(context, context.new_page(), live_server.url)
    context.close()


@pytest.fixture
def sent(event: Event) -> Event:
    """The event, with the technician sent."""
    tess = get_user_model().objects.get(username="tess")
    Event.objects.filter(pk=event.pk).update(assignee=tess)
    return event


def test_a_manager_reads_where_next_and_sends_somebody(event: Event, person: Person) -> None:
    person.sign_in("mara")
    first = person.page.get_by_role("region", name="First in line")
    expect(first).to_contain_text("Quay Store")
    expect(first).to_contain_text(re.compile("as soon as somebody can|this week|next round", re.I))
    person.page.get_by_label("Tick Quay Store").check()
    person.clicks += 1
    form = person.page.get_by_role("form", name="What to do with the ticked sites")
    form.get_by_label("send").select_option(label="tess")
    day = timezone.now().date() + timedelta(days=1)
    form.get_by_label("on", exact=True).fill(day.isoformat())
    person.click("button", "^Send$")
    expect(person.page.get_by_text(f"tess goes on {day}").first).to_be_visible()
    event.refresh_from_db()
    assert event.visit_planned_on == day
    assert event.state == EventState.ACKNOWLEDGED_ACTIVE
    assert person.clicks <= MOST_CLICKS


def test_a_rep_reads_how_it_has_been_doing(event: Event, person: Person) -> None:
    scene.person("rhea", Role.ACCOUNT_REP, event.system.site.client).set_password(PASSWORD)
    person.sign_in("rhea")
    person.click("link", "Clients")
    person.click("link", event.system.site.client.name)
    expect(person.page.get_by_role("heading", level=1)).to_contain_text("how it has been doing")
    expect(person.page.locator(".lede b")).to_contain_text("system")
    expect(person.page.get_by_role("heading", name="What was found").first).to_be_visible()
    assert person.clicks <= MOST_CLICKS


def test_a_technician_reads_what_to_check_and_records_a_false_alarm(
    sent: Event, on_a_phone: Person
) -> None:
    person = on_a_phone
    person.sign_in("tess")
    person.click("link", "What to check first")
    expect(person.page.get_by_role("heading", name="Check first")).to_be_visible()
    expect(person.page.locator(".checks .logged").first).to_contain_text("expected")
    person.page.get_by_label("False alarm: nothing found").check()
    person.clicks += 1
    person.click("button", "Record the visit")
    expect(person.page.get_by_text("Visit recorded.")).to_be_visible()
    assert SiteVisit.objects.get(event=sent).outcome == VisitOutcome.NOTHING_FOUND
    assert person.clicks <= MOST_CLICKS


def test_readings_are_kept_in_si(sent: Event, on_a_phone: Person) -> None:
    person = on_a_phone
    person.sign_in("tess")
    person.page.goto(f"{person.address}/events/{sent.pk}/")
    person.page.get_by_label("The suspicion was right").check()
    person.page.get_by_text("Readings, cause, day and remark").click()
    person.page.get_by_label("Subcooling with your own gauge and clamp, K").fill("11.5")
    person.page.get_by_label("Discharge pressure, kPa gauge").fill("2400")
    person.page.get_by_role("button", name="Record the visit").click()
    expect(person.page.get_by_text("Visit recorded.")).to_be_visible()
    kept = SiteVisit.objects.get(event=sent).readings
    assert kept["subcooling_k"] == pytest.approx(11.5)
    assert kept["discharge_pressure_pa"] == pytest.approx(2.4e6 + 101_325, abs=1500)
    expect(person.page.get_by_text("11.5\u00a0K").first).to_be_visible()


def test_everything_to_touch_is_large_enough_for_gloves(sent: Event, on_a_phone: Person) -> None:
    on_a_phone.sign_in("tess")
    small = {}
    for address in ("/", f"/events/{sent.pk}/", f"/sites/{sent.system.site.code}/", "/rounds/"):
        on_a_phone.page.goto(on_a_phone.address + address)
        small[address] = on_a_phone.page.evaluate(SMALL)
    assert not {address: found for address, found in small.items() if found}


def test_an_opened_event_opens_without_a_network_until_sign_out(
    sent: Event, on_a_phone: Person
) -> None:
    person, page = on_a_phone, on_a_phone.page
    person.sign_in("tess")
    address = f"{person.address}/events/{sent.pk}/"
    page.goto(address)
    expect(page.locator("#chart[data-drawn=true]")).to_be_visible(timeout=30_000)
    expect(page.locator("body[data-kept='1']")).to_be_attached(timeout=30_000)
    person.context.set_offline(True)
    page.goto(address)
    expect(page.get_by_role("heading", name="Check first")).to_be_visible()
    expect(page.locator("#chart[data-drawn=true]")).to_be_visible(timeout=30_000)
    expect(page.locator("#offline")).to_be_visible()
    assert page.evaluate("getComputedStyle(document.querySelector('.outcome')).display") == "flex"
    page.get_by_label("False alarm: nothing found").check()
    page.get_by_role("button", name="Record the visit").click()
    expect(page.get_by_role("heading", name="Check first")).to_be_visible()
    page.goto(f"{person.address}/clients/")
    expect(page.get_by_role("heading", name="No connection")).to_be_visible()
    person.context.set_offline(False)
    page.goto(address)
    assert not SiteVisit.objects.exists()
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    assert page.evaluate("async () => (await caches.keys()).length") == 0


def test_what_was_kept_goes_when_the_session_is_over(sent: Event, on_a_phone: Person) -> None:
    page = on_a_phone.page
    on_a_phone.sign_in("tess")
    page.goto(f"{on_a_phone.address}/events/{sent.pk}/")
    expect(page.locator("body[data-kept='1']")).to_be_attached(timeout=30_000)
    assert page.evaluate("async () => (await caches.keys()).length") == 1
    on_a_phone.context.clear_cookies()
    page.goto(f"{on_a_phone.address}/events/{sent.pk}/")
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.wait_for_function("async () => (await caches.keys()).length === 0", timeout=15_000)


def test_the_event_prints_on_two_pages(sent: Event, person: Person) -> None:
    person.sign_in("mara")
    person.page.goto(f"{person.address}/events/{sent.pk}/")
    expect(person.page.locator("#chart[data-drawn=true]")).to_be_visible(timeout=30_000)
    paper = person.page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 2


def test_the_report_prints_with_its_charts_as_vectors(event: Event, person: Person) -> None:
    person.sign_in("mara")
    person.page.goto(f"{person.address}/clients/{event.system.site.client.code}/")
    paper = person.page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) >= 1
    assert b"/Subtype /Image" not in paper


def test_help_opens_and_closes_by_keyboard(event: Event, person: Person) -> None:
    person.sign_in("mara")
    page = person.page
    page.get_by_role("button", name="What is this: Score").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("How much a system deserves the next visit")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_text("How much a system deserves the next visit")).to_be_hidden()
    expect(page.get_by_role("button", name="What is this: Score")).to_be_focused()
