"""German pages in a browser: no fault axe finds, and longer words that still fit a phone."""

from __future__ import annotations

from playwright.sync_api import Browser, expect
from pytest_django.live_server_helper import LiveServer

from fleet.models import Event, PersonSettings
from tests.browser.looking import PASSWORD, drawn, faults, keep, open_all, sign_in
from tests.browser.test_accessibility import addresses

TOO_WIDE = """() => {
  const wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= wide) return [];
  return [...document.querySelectorAll('main *, header *, footer *')]
    .filter(it => it.getBoundingClientRect().right > wide + 1)
    .map(it => it.tagName + '.' + it.className + ': ' + it.textContent.trim().slice(0, 60))
    .slice(0, 8);
}"""


def test_pages_in_german_fit_a_phone_and_axe_finds_nothing(
    event: Event, browser: Browser, live_server: LiveServer
) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 780}, locale="de-DE")
    page = context.new_page()
    page.goto(f"{live_server.url}/sign-in")
    page.get_by_label("Name").fill("mara")
    page.get_by_label("Passwort").fill(PASSWORD)
    page.get_by_role("button", name="Anmelden").click()
    wrong: dict[str, list[str]] = {}
    for name, address in addresses(event).items():
        page.goto(live_server.url + address)
        drawn(page)
        keep(page, name)
        assert page.locator("html").get_attribute("lang") == "de", name
        wide = page.evaluate(TOO_WIDE)
        open_all(page)
        wrong[name] = [*wide, *faults(page)]
    context.close()
    assert not {name: it for name, it in wrong.items() if it}


def test_the_sketch_speaks_german(event: Event, browser: Browser, live_server: LiveServer) -> None:
    context = browser.new_context(locale="en-GB")
    page = context.new_page()
    sign_in(page, live_server.url, "tess")
    page.goto(f"{live_server.url}/settings/")
    page.get_by_label("Language").select_option("de")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator("html")).to_have_attribute("lang", "de")
    event.assignee_id = PersonSettings.objects.get(language="de").user_id
    event.save(update_fields=("assignee",))
    page.goto(f"{live_server.url}/events/{event.pk}/")
    drawn(page)
    said = page.locator("[data-show=words]")
    expect(said).to_contain_text("Flüssigkeit läuft")
    expect(page.locator("[data-show=pressure]")).to_contain_text("Hochdruck")
    expect(page.locator("[data-show=subcooling]")).to_contain_text(",")
    expect(page.locator("#chart")).to_contain_text("Öffnung des Unterkühlerventils")
    context.close()
