"""Three readers of the demo fleet, each from sign-in to the answer: few clicks, or none at all."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta

import pypdfium2
import pytest
from django.utils import timezone
from playwright.sync_api import Browser, ViewportSize, expect

from fleet.pages.report import pdf
from tests import demo_fleet
from tests.browser.demo_reader import Reader
from tests.browser.looking import SIZES
from tests.demo_fleet import Made, Served

MOST_CLICKS = 4
LAPTOP: ViewportSize = {"width": 1366, "height": 768}

# The first one's time holds the loading of the demo: a minute, on a busy machine many.
pytestmark = pytest.mark.timeout(1800)


@pytest.fixture(scope="module")
def served(demo_made: Made) -> Iterator[Served]:
    with demo_fleet.served(demo_made) as running:
        yield running


@pytest.fixture
def reader(browser: Browser, served: Served) -> Iterator[Reader]:
    context = browser.new_context(viewport=LAPTOP)
    yield Reader(context, context.new_page(), served)
    context.close()


@pytest.fixture
def on_a_phone(browser: Browser, served: Served) -> Iterator[Reader]:
    context = browser.new_context(viewport=SIZES["phone"], has_touch=True, is_mobile=True)
    yield Reader(context, context.new_page(), served)
    context.close()


def test_the_manager_reads_where_next_and_why_and_sends_somebody(reader: Reader) -> None:
    reader.sign_in("manager")
    page = reader.page
    first = page.get_by_role("region", name="First in line")
    reader.sees(first.get_by_role("link", name="What to check first"))
    expect(first).to_contain_text(re.compile(r"\d+\s%"))
    expect(first).to_contain_text(re.compile("as soon as somebody can|this week|next round", re.I))
    expect(first).to_contain_text(re.compile("usual|expected"))
    reader.look("ranking")
    free = page.locator("li.site, article.site").filter(has_text="Nobody has taken it").first
    name = free.get_by_role("link").first.inner_text()
    reader.click(free.get_by_role("checkbox"))
    form = page.get_by_role("form", name="What to do with the ticked sites")
    reader.choose(form.get_by_label("send"), "Suki Brandt")
    day = timezone.now().date() + timedelta(days=2)
    form.get_by_label("on", exact=True).fill(day.isoformat())  # typed
    reader.click(form.get_by_role("button", name="Send", exact=True))
    sent = page.locator("li.site, article.site").filter(has_text=name).first
    expect(sent).to_contain_text("Suki Brandt goes on")
    reader.look("ranking, sent")
    assert reader.clicks <= MOST_CLICKS
    reader.without_faults(3)


def test_the_manager_gets_to_the_evidence(reader: Reader) -> None:
    reader.sign_in("manager")
    reader.click(reader.page.get_by_role("link", name="What to check first"))
    reader.sees(reader.page.get_by_role("heading", name="Why we suspect it"))
    reader.look("event")
    assert reader.clicks <= MOST_CLICKS
    reader.without_faults(2)


def test_the_rep_reads_how_it_has_been_doing_and_takes_it_along(reader: Reader) -> None:
    reader.sign_in("rep")
    page = reader.page
    reader.look("ranking")
    reader.click(page.get_by_role("link", name="Clients"))
    reader.look("clients")
    reader.click(page.get_by_role("main").get_by_role("link", name="Copperline Estates"))
    reader.sees(page.locator(".lede b"))
    expect(page.locator(".lede b")).to_have_text(re.compile(r"^\d systems: .*better.*\.$"))
    reader.sees(page.get_by_role("table").first)
    reader.look("client")
    assert reader.clicks <= MOST_CLICKS
    reader.without_faults(4)
    if not pdf.missing():
        link = page.get_by_role("link", name="PDF to hand out").get_attribute("href")
        answer = reader.context.request.get(f"{page.url}{link}")
        assert answer.headers["content-type"] == "application/pdf"
        assert len(pypdfium2.PdfDocument(answer.body())) <= 5
    foreign = reader.context.request.get(f"{reader.demo.address}/clients/alder-council/")
    assert foreign.status == 404


def test_the_technician_reads_what_to_check_and_records_what_was_found(on_a_phone: Reader) -> None:
    reader, page = on_a_phone, on_a_phone.page
    reader.sign_in("technician")
    reader.look("ranking")
    reader.click(page.get_by_role("link", name="What to check first"))
    reader.sees(page.get_by_role("heading", name="Check first"))
    reader.sees(page.locator(".checks li p"))
    expect(page.locator(".checks .logged").first).to_contain_text("expected")
    reader.look("event")
    reader.click(page.get_by_label("False alarm: nothing found"))
    reader.click(page.get_by_role("button", name="Record the visit"))
    expect(page.get_by_text("Visit recorded.")).to_be_visible()
    reader.look("event, recorded")
    assert reader.clicks <= MOST_CLICKS
    reader.without_faults(4)


def _sign_in_by_keyboard(reader: Reader, name: str) -> None:
    reader.page.goto(f"{reader.demo.address}/sign-in")
    reader.tab_to("^Name")
    reader.page.keyboard.type(name)
    reader.page.keyboard.press("Tab")
    reader.page.keyboard.type(reader.demo.passwords[name])
    reader.page.keyboard.press("Enter")
    expect(reader.page.get_by_role("heading", level=1)).to_contain_text(", and why")


def test_the_manager_needs_no_mouse(reader: Reader) -> None:
    _sign_in_by_keyboard(reader, "manager")
    page = reader.page
    reader.tab_to("^Tick ")
    page.keyboard.press("Space")
    reader.tab_to("^send")
    page.keyboard.type("Suki")
    reader.tab_to("^Send$")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_be_visible()
    assert reader.clicks == 0


def test_the_rep_needs_no_mouse(reader: Reader) -> None:
    _sign_in_by_keyboard(reader, "rep")
    title = reader.page.get_by_role("heading", level=1)
    for name, opens in (("^Clients$", "they been doing"), ("^Copperline", "it has been doing")):
        reader.tab_to(name)
        reader.page.keyboard.press("Enter")
        expect(title).to_contain_text(opens)
    reader.tab_to("^12 months$")
    reader.page.keyboard.press("Enter")
    expect(reader.page.locator("[aria-current=true]")).to_have_text("12 months")
    assert reader.clicks == 0


def test_the_technician_needs_no_mouse(reader: Reader) -> None:
    _sign_in_by_keyboard(reader, "technician")
    page = reader.page
    reader.tab_to("^What to check first$")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Check first")).to_be_visible()
    expect(page.locator("#chart[data-drawn=true]")).to_be_visible(timeout=20_000)
    reader.tab_to("^Instant")
    before = page.locator("#circuit [data-show=when]").inner_text()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#circuit [data-show=when]")).not_to_have_text(before)
    reader.tab_to("^The suspicion was right")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_label("False alarm: nothing found")).to_be_checked()
    reader.tab_to("^Record the visit$")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Visit recorded.")).to_be_visible()
    assert reader.clicks == 0
