"""What readers do besides the way to their answer: on a phone, offline, on paper."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import pypdfium2
import pytest
from django.contrib.auth import get_user_model
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from fleet.models import Event, SiteVisit
from tests.browser.looking import SIZES, sign_in

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
    """Somebody at a browser."""

    context: BrowserContext
    page: Page
    address: str

    def sign_in(self, name: str) -> None:
        """Open the first page."""
        sign_in(self.page, self.address, name)


@pytest.fixture
def person(browser: Browser, live_server: LiveServer) -> Iterator[Person]:
    context = browser.new_context(viewport=SIZES["desk"])
    yield Person(context, context.new_page(), live_server.url)
    context.close()


@pytest.fixture
def on_a_phone(browser: Browser, live_server: LiveServer) -> Iterator[Person]:
    context = browser.new_context(viewport=SIZES["phone"], has_touch=True, is_mobile=True)
    yield Person(context, context.new_page(), live_server.url)
    context.close()


@pytest.fixture
def sent(event: Event) -> Event:
    """The event, with the technician sent."""
    tess = get_user_model().objects.get(username="tess")
    Event.objects.filter(pk=event.pk).update(assignee=tess)
    return event


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


@pytest.mark.parametrize("name", ["tess", "mara"])
def test_everything_to_touch_is_large_enough_for_gloves(
    sent: Event, on_a_phone: Person, name: str
) -> None:
    on_a_phone.sign_in(name)
    small, site = {}, f"/sites/{sent.system.site.code}/"
    pages = [
        "/",
        f"/events/{sent.pk}/",
        site,
        f"{site}months/",
        f"{site}{sent.system.code}/charge/",
    ]
    if name == "mara":
        pages += ["/rounds/", f"/clients/{sent.system.site.client.code}/"]
    for address in pages:
        answer = on_a_phone.page.goto(on_a_phone.address + address)
        assert answer is not None
        assert answer.ok, address
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
    page.goto(address)
    page.get_by_label("False alarm: nothing found").check()
    expect(page.locator("#offline")).to_be_visible()
    assert not SiteVisit.objects.exists()
    person.context.set_offline(False)
    page.get_by_role("button", name="Record the visit").click()
    expect(page.get_by_text("Visit recorded.")).to_be_visible()
    assert SiteVisit.objects.count() == 1
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
    paper = pypdfium2.PdfDocument(person.page.pdf(prefer_css_page_size=True))
    texts = [page.get_textpage().get_text_bounded() for page in paper]
    paper.close()
    assert len(texts) == 2
    assert "Check first" in texts[0]
    assert "After the visit" in texts[0]
    assert re.search("→ to indoor|← to outdoor", texts[1]), "the way the liquid runs has no words"


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
