"""From HTML to PDF, by WeasyPrint and the libraries of the system that it draws text with."""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from functools import cache, lru_cache
from pathlib import Path
from threading import Lock

STYLE = Path(__file__).parents[2] / "static" / "millrace" / "paper.css"
HINT = (
    "Install them: apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 "
    "fonts-liberation (Debian, Ubuntu), dnf install pango (Fedora), brew install pango (macOS); "
    "then start again. Until then the report can be printed from the browser."
)
KEPT = 16
"""Documents kept in a process: whoever opens one opens it again, or prints it."""

_LIBRARIES = {
    "GObject": ("libgobject-2.0.so.0", "libgobject-2.0.0.dylib", "libgobject-2.0-0.dll"),
    "Pango": ("libpango-1.0.so.0", "libpango-1.0.dylib", "libpango-1.0-0.dll"),
    "PangoFT2": ("libpangoft2-1.0.so.0", "libpangoft2-1.0.dylib", "libpangoft2-1.0-0.dll"),
    "HarfBuzz": ("libharfbuzz.so.0", "libharfbuzz.0.dylib", "libharfbuzz-0.dll"),
    "HarfBuzz Subset": (
        "libharfbuzz-subset.so.0",
        "libharfbuzz-subset.0.dylib",
        "libharfbuzz-subset-0.dll",
    ),
    "Fontconfig": ("libfontconfig.so.1", "libfontconfig.1.dylib", "libfontconfig-1.dll"),
}
_one_at_a_time = Lock()


class PdfError(Exception):
    """This machine cannot write PDF; the message says what is missing and what to do."""


@cache
def missing() -> tuple[str, ...]:
    """Libraries of the system that are not to be found here; looked for once."""
    return tuple(name for name, files in _LIBRARIES.items() if not any(map(_loads, files)))


@lru_cache(maxsize=KEPT)
def write(html: str) -> bytes:
    """The document as PDF. Raises PdfError.

    The text is the key of what is kept, so nothing kept is ever out of date. Pages wait for one
    another: writing is processor work, and two at once would only hold up the rest of the server.
    """
    engine = _engine()
    with _one_at_a_time:
        return engine(html)


@lru_cache(maxsize=1)
def _engine() -> Callable[[str], bytes]:
    if lacking := missing():
        raise PdfError(f"PDF cannot be written here: {', '.join(lacking)} missing. {HINT}")
    try:
        # Half a second, which only a process pays that writes one.
        import weasyprint
        from weasyprint.text.fonts import FontConfiguration
    except OSError as fault:
        raise PdfError(f"PDF cannot be written here: {fault}. {HINT}") from fault
    fonts = FontConfiguration()
    style = weasyprint.CSS(filename=STYLE, font_config=fonts)

    fetcher = weasyprint.urls.URLFetcher(allowed_protocols=["data"])  # nothing from elsewhere

    def engine(html: str) -> bytes:
        document = weasyprint.HTML(string=html, url_fetcher=fetcher)
        found: bytes = document.write_pdf(stylesheets=[style], font_config=fonts, pdf_tags=True)
        return found

    return engine


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True
