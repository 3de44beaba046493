"""Takes the README's pictures from a running demo.

MILLRACE_COMPANY="Weir & Wheel" python manage.py demo   # in one terminal; note the passwords
python -m tests.browser.pictures http://127.0.0.1:8321 manager PASSWORD
"""

from __future__ import annotations

import argparse
from pathlib import Path

import pypdfium2
from playwright.sync_api import Page, sync_playwright

from tests.browser.chromium import launch
from tests.browser.looking import SIZES

FOLDER = Path("fixtures/pictures")


def sign_in(page: Page, address: str, name: str, password: str) -> None:
    """Leave ``page`` signed in, on the ranking."""
    page.goto(address)
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_load_state("networkidle")


def take(page: Page, name: str) -> None:
    """One picture of what is in the window."""
    FOLDER.mkdir(exist_ok=True)
    page.screenshot(path=FOLDER / f"{name}.png", animations="disabled")


def event_with_plot(page: Page, address: str) -> None:
    """Open the first building's first event and wait for its plot."""
    page.goto(address)
    page.click("main a[href*='/sites/']")
    page.wait_for_load_state("networkidle")
    page.click("main a[href*='/events/']")
    page.wait_for_selector(".js-plotly-plot .main-svg", timeout=30_000)
    page.wait_for_load_state("networkidle")


def report(page: Page, address: str) -> None:
    """The first page of a client's report as it is handed out."""
    page.goto(f"{address}/clients/")
    page.click("main a[href='/clients/copperline-estates/']")
    link = page.get_by_role("link", name="PDF to hand out").get_attribute("href")
    answer = page.context.request.get(f"{page.url}{link}")
    paper = pypdfium2.PdfDocument(answer.body())
    picture = paper[0].render(scale=1.25).to_pil().quantize(64)
    picture.save(FOLDER / "report.png", optimize=True)
    paper.close()


def main() -> int:
    """Ranking, building, event and its plot, a report's first page; the event on a phone."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("address")
    parser.add_argument("name")
    parser.add_argument("password")
    options = parser.parse_args()
    with sync_playwright() as playwright:
        browser = launch(playwright)
        page = browser.new_page(viewport=SIZES["desk"])
        sign_in(page, options.address, options.name, options.password)
        take(page, "ranking")
        page.click("main a[href*='/sites/']")
        page.wait_for_load_state("networkidle")
        take(page, "building")
        event_with_plot(page, options.address)
        take(page, "event")
        page.evaluate("document.querySelector('.js-plotly-plot').scrollIntoView()")
        page.wait_for_timeout(800)
        take(page, "plot")
        report(page, options.address)
        event_with_plot(page, options.address)
        page.set_viewport_size(SIZES["phone"])
        page.reload()
        page.wait_for_load_state("networkidle")
        page.evaluate("window.scrollTo(0, 0)")
        page.wait_for_timeout(500)
        take(page, "event-phone")
        browser.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
