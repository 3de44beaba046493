"""What every look at a page needs: signing in, waiting, what axe-core finds, the screen's edge."""

from __future__ import annotations

import os
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, expect

VENDOR = Path(__file__).parent / "vendor"
AXE = VENDOR / "axe.min.js"
PASSWORD = "open sesame 42"
PICTURES = os.environ.get("MILLRACE_PICTURES")
"""A folder to keep what was looked at in, for people who want to look too."""

SIZES: dict[str, ViewportSize] = {
    "phone": {"width": 390, "height": 844},
    "desk": {"width": 1280, "height": 900},
}
RUN = """async () => {
  const found = await axe.run(document, {
    runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
  });
  return found.violations.map(it => it.id + ': ' + it.help + ' at '
    + it.nodes.slice(0, 3).map(node => node.target.join(' ')).join(' and '));
}"""


def sign_in(page: Page, address: str, name: str) -> None:
    """Leave the page on the ranking."""
    page.goto(f"{address}/sign-in")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(", and why")


def open_all(page: Page) -> None:
    """Unfold what is folded: it is part of the page."""
    page.evaluate("document.querySelectorAll('details').forEach(it => { it.open = true; })")


def drawn(page: Page) -> None:
    """Wait for the plot where there is one."""
    if page.locator("#chart").count():
        expect(page.locator("#chart[data-drawn=true]")).to_be_visible(timeout=20_000)


def faults(page: Page) -> list[str]:
    """What axe finds on the page as it is now."""
    page.evaluate(AXE.read_text("utf-8"))
    found: list[str] = page.evaluate(RUN)
    return found


def over_the_edge(page: Page) -> list[str]:
    """A fault where anything reaches over the screen's edge."""
    over = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    return ["reaches over the screen's edge"] if page.evaluate(over) > 0 else []


def keep(page: Page, name: str) -> None:
    """A picture, where somebody wants to look."""
    if PICTURES:
        page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=True)
