"""What the sketch of the circuit says of an instant: sentences its script fills in."""

from __future__ import annotations

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from fleet.language import SOURCE, decimal


def words() -> dict[str, str]:
    """By what they are for, in the reader's language; ``{name}`` stands for a part."""
    language = get_language() or SOURCE
    return {
        "dates": "en-GB" if language == SOURCE else language,
        "point": decimal("0.0")[1],
        "off": _("compressor off, no direction to tell."),
        "to-indoor": _(
            "{state}. Liquid runs to indoor: subcooling counts at the outdoor-side thermistor, "
            "{subcooling}."
        ),
        "to-outdoor": _(
            "{state}. Liquid runs to outdoor: subcooling counts at the indoor-side thermistor, "
            "{subcooling}."
        ),
        "undetermined": _("{state}. Direction undetermined: no point counts."),
        "asks": _("asks {share}"),
        "open": _("open {share}"),
        "closed": _("closed {share}"),
        "hunting": _(", hunting"),
        "discharge": _("discharge {pressure}"),
        "no_flow": _("not quantified"),
        "flow": _("{flow} ({low} to {high})"),
    }
