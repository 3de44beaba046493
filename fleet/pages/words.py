"""The words and shapes pages use for what the verdict says. Nothing here judges."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from diagnostics.weighing.weigh import CONDITIONS
from fleet.language import decimal
from fleet.said import say

NARROW = "\u00a0"
"""Between a number and its unit: the two stay on one line."""
_NAMED = re.compile(r"^(?:Suspicion of [^:(]*(?:\(([^:]*)\))?|Nothing unusual): ")
_DEGREES = ("slight", "marked")
"""Ways that are no more than how much; the numbers beside them say it better."""


@dataclass(frozen=True)
class Suspicion:
    """How a condition is named and drawn: ``shape`` is the id of a symbol in the page's sprite.

    ``said`` is its name in the language of the source.
    """

    code: str
    said: str
    shape: str

    @property
    def name(self) -> str:
        """In the reader's language."""
        return _(self.said)


SUSPICIONS = {
    suspicion.code: suspicion
    for suspicion in (
        Suspicion("overcharge", gettext_noop("too much refrigerant"), "up"),
        Suspicion("undercharge", gettext_noop("too little refrigerant"), "down"),
        Suspicion("flow_restriction", gettext_noop("liquid line restricted"), "pinch"),
        Suspicion("subcooler_valve_fault", gettext_noop("subcooler valve not working"), "bowtie"),
        Suspicion("sensor_fault", gettext_noop("a sensor reads wrong"), "ring"),
        Suspicion("normal", gettext_noop("no sign of a fault"), "dot"),
        Suspicion("not_enough_data", gettext_noop("cannot be judged: not enough data"), "hatch"),
        Suspicion(
            "wet_return", gettext_noop("liquid may be coming back to the compressor"), "drop"
        ),
    )
}

FAULTS = tuple(code for code in SUSPICIONS if code in CONDITIONS and code != "normal")
"""What can be suspected, and found: the rest says how sure anything is, or what is urgent."""


def suspicion(code: str) -> Suspicion:
    """The words for a condition; an unknown one keeps its own name."""
    return SUSPICIONS.get(code) or Suspicion(code, code.replace("_", " "), "ring")


@dataclass(frozen=True)
class Attention:
    """How much a system asks for a person's eye."""

    code: str
    said: str

    @property
    def word(self) -> str:
        """In the reader's language."""
        return _(self.said)


ACT = Attention("act", gettext_noop("go and look"))
WATCH = Attention("watch", gettext_noop("keep watching"))
QUIET = Attention("quiet", gettext_noop("nothing to do"))
BLIND = Attention("blind", gettext_noop("cannot be judged"))
ATTENTIONS = (ACT, WATCH, BLIND, QUIET)


def attention(leading: str, probability: float, *, urgent: bool, open_events: bool) -> Attention:
    """Go when the suspicion is likelier than not or the compressor is at risk.

    Quiet asks for more than normal being likeliest: three to one, and no event left open.
    """
    if leading == "not_enough_data":
        return BLIND
    if urgent or (leading != "normal" and probability >= 0.5):
        return ACT
    sure = leading == "normal" and probability >= 0.75
    return QUIET if sure and not open_events else WATCH


_SURENESS = (
    (0.95, gettext_noop("nearly certain")),
    (0.8, gettext_noop("very likely")),
    (0.6, gettext_noop("likely")),
    (0.4, gettext_noop("about even")),
    (-math.inf, gettext_noop("possible")),
)


def sureness(probability: float) -> str:
    """A probability in words."""
    return _(next(word for limit, word in _SURENESS if probability >= limit))


SLIGHT = 0.2
"""Log-likelihood ratio, 1.2 times likelier, below which a finding says little."""


MANY_TIMES = 100


def push(log_ratio: float) -> str:
    """A log-likelihood ratio in words: how far one finding moves one suspicion.

    In no more digits than the tails of what each fault does to a reading are known.
    """
    if abs(log_ratio) < SLIGHT:
        return _("says little")
    factor = math.exp(min(abs(log_ratio), 7.0))
    if factor > MANY_TIMES:
        shown = _("over %(n)s") % {"n": MANY_TIMES}
    else:
        shown = decimal(f"{factor:.1f}" if factor < 9.95 else f"{round(factor, -1):.0f}")
    said = _("%(n)s times likelier") if log_ratio > 0 else _("%(n)s times less likely")
    return said.replace(" ", NARROW, 1) % {"n": shown}


def ago(then: datetime | None, now: datetime) -> str:
    """How long ago, in one unit."""
    if then is None:
        return _("never")
    age = max(now - then, timedelta(0))
    if days := age // timedelta(days=1):
        return ngettext("%(n)s day ago", "%(n)s days ago", days) % {"n": days}
    if hours := age // timedelta(hours=1):
        return ngettext("%(n)s hour ago", "%(n)s hours ago", hours) % {"n": hours}
    return _("%(n)s min ago") % {"n": age // timedelta(minutes=1)}


def percent(share: float) -> str:
    """A share as whole per cent; never 100 % or 0 % unless it is exact."""
    rounded = round(100 * share)
    if rounded == 100 and share < 1:
        return f"99{NARROW}%"
    if rounded == 0 and share > 0:
        return _("under %(share)s") % {"share": f"1{NARROW}%"}
    return f"{rounded}{NARROW}%"


def reasons(why: str) -> str:
    """The reasons of a stored one-liner without the suspicion it repeats; the page names it.

    In which way it is had stays: which sensor, or how the valve fails.
    """
    named = _NAMED.match(why)
    said = say(why[named.end() :] if named else why)
    way = named[1] if named else None
    if way and way not in _DEGREES:
        said = f"{say(way)}: {said}"
    return said[:1].upper() + said[1:]
