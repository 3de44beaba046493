"""The report as a PDF: what is on it, what is not, and how it is made up."""

from __future__ import annotations

import ctypes
import logging
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from django.core.management import call_command
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import Settings

from fleet import checks
from fleet.models import Event, ShareLink, SiteVisit
from fleet.pages.report import pdf
from tests.pages import scene
from tests.pages.days import YESTERDAY, put_days
from tests.pages.report.test_share import link, speak_freely
from tests.pages.scene import CANARY, Scene, signed_in

needs_pango = pytest.mark.skipif(
    bool(pdf.missing()), reason=f"{', '.join(pdf.missing())} missing. {pdf.HINT}"
)
ADDRESS = "/clients/kingfisher/report.pdf"
SYSTEMS = 7
MARK = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 30">
<text x="0" y="20">wheelmark</text></svg>"""


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    pdf.write.cache_clear()


@pytest.fixture
def told(fleet: Scene) -> Scene:
    """Seven systems with seven weeks of data, two events, a visit, and words not for clients."""
    Event.objects.update(opened_at=timezone.now() - timedelta(days=30))
    put_days(fleet.system, YESTERDAY, [5.0] * 30 + [1.0] * 20)
    for i in range(2, SYSTEMS + 1):
        put_days(scene.system(fleet.site, f"R{i}"), YESTERDAY, [5.0] * 50)
    put_days(fleet.other_event.system, YESTERDAY, [5.0] * 30)
    speak_freely(fleet, YESTERDAY - timedelta(days=17))
    return fleet


class Paper:
    """An opened PDF."""

    def __init__(self, content: bytes) -> None:
        document = pypdfium2.PdfDocument(content)
        pages = [document[i] for i in range(len(document))]
        self.texts = [page.get_textpage().get_text_bounded() for page in pages]
        self.text = re.sub(r"\s+", " ", " ".join(self.texts))
        objects = [thing for page in pages for thing in page.get_objects(max_depth=9)]
        self.kinds = [thing.type for thing in objects]
        self.fonts = {
            _name(font): bool(pdfium.FPDFFont_GetIsEmbedded(font))
            for thing in objects
            if thing.type == pdfium.FPDF_PAGEOBJ_TEXT
            if (font := pdfium.FPDFTextObj_GetFont(thing.raw))
        }
        self.title = document.get_metadata_value("Title")
        self.author = document.get_metadata_value("Author")
        document.close()


def _name(font: object) -> str:
    name = ctypes.create_string_buffer(100)
    pdfium.FPDFFont_GetBaseFontName(font, name, 100)
    return name.value.decode()


def paper(browser: Browser, address: str = ADDRESS) -> Paper:
    answer = browser.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    return Paper(answer.content)


@needs_pango
def test_it_says_what_the_page_says(told: Scene) -> None:
    read = paper(signed_in(told.rep))
    assert f"{SYSTEMS} systems: 1 worse, {SYSTEMS - 1} about the same" in read.text.replace(
        "6 about the same, 1 worse", "1 worse, 6 about the same"
    )
    assert "1 suspicion in the period, still there; 1 visit recorded." in read.text
    assert "suspicion confirmed" in read.text
    assert "chance of a fault, in per cent" in read.text
    assert "How to read this" in read.text
    assert read.title == f"{told.client.name}, how it has been doing"


@needs_pango
def test_it_is_bound_with_heads_and_numbers_and_three_systems_a_page(
    told: Scene, settings: Settings
) -> None:
    settings.COMPANY_NAME = "Weir & Sons"
    read = paper(signed_in(told.rep))
    pages = len(read.texts)
    assert pages <= 2 + -(-SYSTEMS // 3)
    for i, text in enumerate(read.texts, start=1):
        assert text.split()[-3:] == [str(i), "/", str(pages)] or f"{i} / {pages}" in text
        assert ("Weir & Sons" in text, told.client.name in text) == (True, True)
    assert read.author == "Weir & Sons"


@needs_pango
def test_no_system_and_no_row_is_torn_apart(told: Scene) -> None:
    """What stands in a system's heading, chart and table stands on one page."""
    for text in paper(signed_in(told.rep)).texts:
        systems = len(re.findall(r"System R\d", text))
        assert text.count("rooms short, K·h a day") == systems
        assert text.count("What was done") == systems
        assert text.count("Start and end of the period") == systems


@needs_pango
def test_charts_are_drawn_and_not_painted_and_fonts_come_along(
    told: Scene, settings: Settings, tmp_path: Path
) -> None:
    picture = tmp_path / "mark.svg"
    picture.write_text(MARK)
    settings.COMPANY_LOGO = str(picture)
    read = paper(signed_in(told.rep))
    assert pdfium.FPDF_PAGEOBJ_IMAGE not in read.kinds
    assert read.kinds.count(pdfium.FPDF_PAGEOBJ_PATH) > 30 * SYSTEMS
    assert "wheelmark" in read.texts[0]
    assert read.fonts
    assert all(read.fonts.values()), read.fonts


@needs_pango
def test_nothing_internal_and_nothing_of_others_is_on_it(told: Scene) -> None:
    link(told)
    for browser, address in (
        (signed_in(told.manager), ADDRESS),
        (Browser(), f"/shared/{ShareLink.objects.get().token}/report.pdf"),
    ):
        read = paper(browser, address)
        assert f"{CANARY} Ferry Hall" in read.text
        for kept in ("slow", "Sloppy", "tess", "mara", "rhea", "Plover", "Mill Lane", "the owner"):
            assert not re.search(rf"\b{kept}\b", read.text), kept
        assert "http" not in read.text


@needs_pango
def test_the_links_reader_gets_it_kept_by_nobody_until_the_link_is_over(told: Scene) -> None:
    made = link(told)
    answer = Browser().get(f"/shared/{made.token}/report.pdf?temperature=degF")
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert "subcooling, °F" in Paper(answer.content).text
    made.revoke(timezone.now())
    assert Browser().get(f"/shared/{made.token}/report.pdf").status_code == 404


@needs_pango
def test_the_technicians_building_holds_assigned_systems_only(told: Scene) -> None:
    read = paper(signed_in(told.technician), "/sites/ferry-hall/months/report.pdf")
    assert "System R1" in read.text
    assert "System R2" not in read.text
    answer = signed_in(told.outsider).get("/sites/ferry-hall/months/report.pdf")
    assert answer.status_code == 404


@needs_pango
def test_a_client_without_systems_gets_a_page_too(fleet: Scene) -> None:
    fleet.site.systems.all().delete()
    assert "No system is registered here yet." in paper(signed_in(fleet.rep)).text


@needs_pango
def test_the_engine_understands_all_of_the_style_sheet(
    told: Scene, caplog: pytest.LogCaptureFixture
) -> None:
    pdf._engine.cache_clear()
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        paper(signed_in(told.rep))
    assert not [record.getMessage() for record in caplog.records if "weasyprint" in record.name]


@needs_pango
def test_a_document_loads_nothing_from_anywhere(
    caplog: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    secret = tmp_path / "secret.svg"
    secret.write_text('<svg xmlns="http://www.w3.org/2000/svg"><text y="20">hidden</text></svg>')
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        read = Paper(pdf.write(f'<html lang="en"><img alt="x" src="{secret.as_uri()}">'))
    assert "hidden" not in read.text
    assert secret.as_uri() in caplog.text


@needs_pango
def test_what_was_written_is_kept_and_follows_what_it_says(told: Scene) -> None:
    browser = signed_in(told.rep)
    first = browser.get(ADDRESS).content
    assert browser.get(ADDRESS).content is first or browser.get(ADDRESS).content == first
    assert pdf.write.cache_info().hits >= 1
    SiteVisit.objects.all().delete()
    assert "no visits recorded" in paper(browser).text
    assert pdf.write.cache_info().misses == 2


@pytest.fixture
def without_pango(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setitem(pdf._LIBRARIES, "Pango", ("libno-such-pango.so.0",))
    for kept in (pdf.missing, pdf._engine):
        kept.cache_clear()
    yield
    for kept in (pdf.missing, pdf._engine):
        kept.cache_clear()


def test_without_pango_it_is_said_what_is_missing_and_printing_is_offered(
    fleet: Scene, without_pango: None
) -> None:
    pdf.write.cache_clear()
    answer = signed_in(fleet.rep).get(f"{ADDRESS}?months=6")
    said = answer.content.decode()
    assert answer.status_code == 503
    assert "PDF cannot be written here: Pango missing." in said
    assert "apt install libpango-1.0-0" in said
    assert 'href="/clients/kingfisher/?months=6"' in said
    page = signed_in(fleet.rep).get("/clients/kingfisher/").content.decode()
    assert "Print, or save as PDF" in page
    assert "report.pdf" not in page


def test_without_pango_a_client_is_not_told_of_packages(
    fleet: Scene, without_pango: None, caplog: pytest.LogCaptureFixture
) -> None:
    answer = Browser().get(f"/shared/{link(fleet).token}/report.pdf")
    assert answer.status_code == 503
    assert "Pango" not in answer.content.decode()
    assert "Pango missing." in caplog.text


def test_without_pango_the_check_says_what_to_do(
    without_pango: None, capsys: pytest.CaptureFixture[str]
) -> None:
    (found,) = checks.pdf_can_be_written()
    assert found.id == "millrace.W003"
    call_command("check")
    said = capsys.readouterr().err
    assert "(millrace.W003) reports cannot be written as PDF: Pango missing." in said
    assert "HINT: Install them: apt install libpango-1.0-0" in said


@needs_pango
def test_the_page_offers_the_pdf_with_what_was_chosen(told: Scene) -> None:
    seen = signed_in(told.rep).get("/clients/kingfisher/?months=6").content.decode()
    assert 'href="report.pdf?months=6"' in seen
