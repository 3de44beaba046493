"""What the browser is served: vendored sums, no inline code, contrasts that read."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest
from django.conf import settings

from fleet.pages.event.plot import charts

FLEET: Path = settings.BASE_DIR
STATIC = FLEET / "static"
TEMPLATES = sorted((FLEET / "templates").rglob("*.html"))
OURS = sorted((STATIC / "millrace").iterdir())
STYLE_SHEET_LINES = 400
TRUSTED = {
    "runbook/page.html",  # the repository's own Markdown
    "settings/_password_form.html",  # what Django's password validators say
}
"""Templates that print HTML nobody outside has a part in."""


def test_vendored_files_are_those_named_in_their_list() -> None:
    listed = re.findall(
        r"^\| (\S+) \| .* \| ([0-9a-f]{64}) \|$",
        (STATIC / "vendor" / "VENDOR.md").read_text("utf-8"),
        re.MULTILINE,
    )
    assert {name for name, _ in listed} == {p.name for p in (STATIC / "vendor").glob("*.js")}
    for name, digest in listed:
        assert hashlib.sha256((STATIC / "vendor" / name).read_bytes()).hexdigest() == digest


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_templates_hold_no_inline_script_or_style(path: Path) -> None:
    text = path.read_text("utf-8")
    assert not re.search(r"<script(?![^>]*\bsrc=)", text)
    assert not re.search(r"<style\b|\sstyle=|\son[a-z]+=", text)
    assert ("|safe" in text) == (path.relative_to(FLEET / "templates").as_posix() in TRUSTED)
    assert "autoescape off" not in text
    assert "hx-on" not in text


def test_style_sheets_stay_short_and_load_nothing_from_elsewhere() -> None:
    for path in OURS:
        text = path.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert len(text.splitlines()) <= STYLE_SHEET_LINES, path.name
        assert "://" not in text, path.name
        assert "eval(" not in text, path.name


def _tokens(dark: bool) -> dict[str, str]:
    text = (STATIC / "millrace" / "base.css").read_text("utf-8")
    blocks = re.findall(r":root \{(.*?)\}", text, re.DOTALL)
    found = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", blocks[0]))
    return found | (dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", blocks[1])) if dark else {})


def _luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Contrast ratio by WCAG 2.2."""
    high, low = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_formula_gives_the_published_values() -> None:
    # Okabe-Ito blue and vermilion on white; black on white is 21 by definition.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#0072b2", "#ffffff") == pytest.approx(5.19, abs=0.01)
    assert contrast("#d55e00", "#ffffff") == pytest.approx(3.87, abs=0.01)


TEXTS = ("ink", "muted", "link", "act", "watch", "plot-indoor", "plot-outdoor", "plot-faint")
LINES = ("edge", "plot-plain", "plot-attention", "plot-ink")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet", "act-tint"])
def test_text_reads_on_every_ground(dark: bool, ground: str) -> None:
    tokens = _tokens(dark)
    low = {
        name: ratio
        for name in TEXTS
        if (ratio := contrast(tokens[name], tokens[ground])) < 4.5
        and not (name.startswith("plot") and ground == "act-tint")
    }
    assert not low
    assert contrast(tokens["paper"], tokens["link"]) >= 4.5  # text on buttons


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_lines_and_borders_of_controls_are_seen(dark: bool) -> None:
    tokens = _tokens(dark)
    for name in LINES:
        assert contrast(tokens[name], tokens["sheet"]) >= 3.0, name


def test_the_figures_own_inks_are_the_light_style_sheets() -> None:
    tokens = _tokens(dark=False)
    assert {name: colour.lower() for name, colour in charts.INKS.items()} == {
        name: tokens[f"plot-{name}"] for name in charts.INKS
    }
