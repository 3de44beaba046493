"""Somebody who reads the demo's pages: every click is counted, every page looked at."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests.browser.looking import drawn, faults, over_the_edge
from tests.demo_fleet import Served

SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
FOCUSED = """() => {
  const it = document.activeElement;
  if (!it || it === document.body) return null;
  const named = it.getAttribute('aria-label')
    || (it.labels && it.labels[0] && it.labels[0].textContent) || it.textContent || '';
  const style = getComputedStyle(it);
  return {role: it.tagName.toLowerCase(), type: it.type || '',
          name: named.replace(/\\s+/g, ' ').trim(),
          seen: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2};
}"""
MOST_TABS = 120


@dataclass
class Reader:
    """A person at a browser."""

    context: BrowserContext
    page: Page
    demo: Served
    clicks: int = 0
    looked: dict[str, list[str]] = field(default_factory=dict)

    def click(self, what: Locator) -> None:
        """One click or tap."""
        what.first.click()
        self.clicks += 1

    def choose(self, what: Locator, label: str | re.Pattern[str]) -> None:
        """A choice from a list counts as a click."""
        option = what.locator("option").filter(has_text=label).first
        what.select_option(value=option.get_attribute("value"))
        self.clicks += 1

    def sign_in(self, name: str) -> None:
        """Name, password, one click; what opens is looked at."""
        self.page.goto(f"{self.demo.address}/sign-in")
        self.look("sign-in")
        self.page.get_by_label("Name").fill(name)
        self.page.get_by_label("Password").fill(self.demo.passwords[name])
        self.click(self.page.get_by_role("button", name="Sign in"))
        expect(self.page.get_by_role("heading", level=1)).to_contain_text(", and why")

    def look(self, name: str) -> None:
        """What axe-core finds in light and in dark, and whether the page fits its screen."""
        drawn(self.page)
        found: list[str] = []
        for scheme in SCHEMES:
            self.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            found += [f"{scheme}: {text}" for text in faults(self.page)]
        self.page.emulate_media(color_scheme="light")
        self.looked[name] = found + over_the_edge(self.page)

    def sees(self, what: Locator) -> None:
        """It is within the first screen, without scrolling."""
        expect(what.first).to_be_visible()
        box, size = what.first.bounding_box(), self.page.viewport_size
        assert box is not None
        assert size is not None
        assert self.page.evaluate("scrollY") == 0
        assert box["y"] + min(box["height"], 24) <= size["height"], what

    def tab_to(self, name: str) -> None:
        """Press Tab until what is called so has the focus; whatever has it on the way is marked."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            at = self.page.evaluate(FOCUSED)
            if at is None:
                continue
            assert at["seen"], f"the focus is not seen at {at}"
            if re.search(name, at["name"]):
                return
        raise AssertionError(f"{MOST_TABS} presses of Tab do not reach {name!r}")

    def without_faults(self, pages: int) -> None:
        """So many pages were looked at, and none has a fault."""
        assert len(self.looked) == pages, list(self.looked)
        assert not {name: said for name, said in self.looked.items() if said}
