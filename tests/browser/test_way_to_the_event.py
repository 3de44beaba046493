"""From a site folder to the drawn plot, as a manager and a technician go it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from fleet.models import Event
from fleet.pages.event.plot import spans
from fleet.pages.event.plot.gather import gather
from fleet.pages.units import Preference
from tests.browser.looking import SIZES, over_the_edge, sign_in


@dataclass
class Visit:
    """A page and everything it complained of."""

    page: Page
    address: str
    complaints: list[str] = field(default_factory=list)

    def sign_in(self, name: str) -> None:
        sign_in(self.page, self.address, name)

    def fits(self) -> None:
        """Nothing reaches over the screen's edge."""
        assert not over_the_edge(self.page), self.page.url


@pytest.fixture(params=SIZES)
def visit(
    request: pytest.FixtureRequest, browser: Browser, live_server: LiveServer
) -> Iterator[Visit]:
    context = browser.new_context(viewport=SIZES[request.param], reduced_motion="reduce")
    seen = Visit(context.new_page(), live_server.url)
    seen.page.on(
        "console",
        lambda message: (
            message.type in ("error", "warning") and seen.complaints.append(message.text)
        ),
    )
    seen.page.on("pageerror", lambda fault: seen.complaints.append(str(fault)))
    seen.page.on(
        "response",
        lambda answer: (
            answer.status >= 400 and seen.complaints.append(f"{answer.status} {answer.url}")
        ),
    )
    yield seen
    context.close()


def test_from_sign_in_to_the_drawn_plot(event: Event, visit: Visit) -> None:
    page = visit.page
    visit.sign_in("mara")
    visit.fits()
    page.get_by_role("link", name="Quay Store").first.click()
    expect(page.get_by_role("heading", name="Quay Store")).to_be_visible()
    expect(page.locator("figure.history circle.to-indoor").first).to_be_visible()
    visit.fits()
    page.get_by_role("link", name=re.compile("what to check first")).first.click()
    expect(page.get_by_role("heading", name="Check first")).to_be_visible()
    _plot_is_drawn(event, page)
    visit.fits()
    page.get_by_role("button", name="Acknowledge").click()
    expect(page.get_by_role("status").first).to_have_text("Acknowledged.")
    page.get_by_label("Send").select_option(label="tess")
    page.get_by_role("button", name="Assign").click()
    expect(page.get_by_text("Assigned to tess.")).to_be_visible()
    assert visit.complaints == []


def _plot_is_drawn(event: Event, page: Page) -> None:
    """The drawn figure holds what the data hold: both thermistors, and the bands in words."""
    expect(page.locator("#chart[data-drawn=true]")).to_be_visible(timeout=20_000)
    series = gather(spans.chosen(event, {}), Preference())
    drawn = page.evaluate("document.getElementById('chart').data.map(trace => trace.name)")
    assert ("→ to indoor" in drawn) == bool((series.direction > 0).any())
    assert ("← to outdoor" in drawn) == bool((series.direction < 0).any())
    assert "other side (not used)" in drawn
    assert page.locator("#chart .scatterlayer .trace").count() >= 5
    assert page.locator("#chart .barlayer .point").count() >= 1


def test_the_circuit_follows_the_cursor_and_the_slider(event: Event, visit: Visit) -> None:
    page = visit.page
    visit.sign_in("mara")
    page.goto(f"{visit.address}/events/{event.pk}/")
    expect(page.locator("#chart[data-drawn=true]")).to_be_visible(timeout=20_000)
    way = _instant_with(page, 1)
    page.locator("#instant").evaluate(
        "(slider, i) => { slider.value = i; slider.dispatchEvent(new Event('input')); }", way
    )
    circuit = page.locator("#circuit")
    expect(circuit).to_have_attribute("data-way", "to-indoor")
    expect(circuit).to_contain_text("subcooling counts at the outdoor-side thermistor")
    when = circuit.locator("[data-show=when]")
    before = when.inner_text()
    box = page.locator("#chart .plotbg, #chart .nsewdrag").first
    page.locator("#chart").scroll_into_view_if_needed()
    frame = page.locator("#chart").bounding_box()
    assert frame is not None
    assert box.count() >= 1
    page.mouse.move(frame["x"] + frame["width"] * 0.55, frame["y"] + frame["height"] * 0.32)
    page.mouse.move(frame["x"] + frame["width"] * 0.56, frame["y"] + frame["height"] * 0.32)
    expect(when).not_to_have_text(before)
    assert visit.complaints == []


def _instant_with(page: Page, way: int) -> int:
    found = page.evaluate(
        """async (way) => {
          const source = document.getElementById('chart').dataset.source;
          const data = await (await fetch(source)).json();
          const off = data.instants.state_names.indexOf('off');
          return data.instants.direction.findIndex(
            (it, i) => it === way && data.instants.state[i] !== off);
        }""",
        way,
    )
    assert found >= 0
    return int(found)


def test_the_search_narrows_while_typing(event: Event, visit: Visit) -> None:
    page = visit.page
    visit.sign_in("mara")
    field_ = page.get_by_label("Find a site, client, system or suspicion")
    field_.press_sequentially("no such place", delay=5)
    expect(page.locator("#list")).to_contain_text("No site matches.")
    field_.fill("quay")
    expect(page.locator("#list")).to_contain_text("Quay Store")
    assert visit.complaints == []


def test_the_keyboard_reaches_the_content_first(event: Event, visit: Visit) -> None:
    visit.sign_in("mara")
    visit.page.keyboard.press("Tab")
    expect(visit.page.get_by_text("Skip to content")).to_be_focused()
    visit.page.keyboard.press("Enter")
    assert visit.page.url.endswith("#main")


def test_a_technician_without_work_sees_nothing_of_it(event: Event, visit: Visit) -> None:
    visit.sign_in("tess")
    expect(visit.page.get_by_text("No event is assigned to you.")).to_be_visible()
    answer = visit.page.goto(f"{visit.address}/events/{event.pk}/")
    assert answer is not None
    assert answer.status == 404


def test_an_inline_style_or_script_would_be_complained_of(event: Event, visit: Visit) -> None:
    """The other tests' empty list of complaints means something only if this one is filled."""
    visit.sign_in("mara")
    visit.page.evaluate(
        """() => {
          const put = (tag, fields) =>
            document.head.append(Object.assign(document.createElement(tag), fields));
          put('style', {textContent: 'b{}'});
          put('script', {text: '1'});
        }"""
    )
    visit.page.wait_for_timeout(200)
    policy = [text for text in visit.complaints if "Content Security Policy" in text]
    assert len(policy) == 2
