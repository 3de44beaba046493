"""Where systems stand, as lines a page can print."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext as _

from diagnostics.weighing.weigh import CONDITIONS
from fleet.ingest import arrival
from fleet.models import Event, Standing, System
from fleet.pages import handling, words

STALE = timedelta(days=2)
"""Data older than this are called old; sites send at least daily (common practice)."""
FOUR_WEEKS = timedelta(days=28)
"""What is open now stands beside what was open so long ago."""


@dataclass(frozen=True)
class SystemLine:
    """One system as the ranking and the building page show it."""

    system: System
    standing: Standing | None
    open_events: tuple[Event, ...]
    now: datetime

    @property
    def score(self) -> float:
        """0..100; a system never analysed has none to count."""
        return self.standing.score if self.standing else 0.0

    @property
    def leading(self) -> str:
        """The leading condition's code."""
        return self.standing.leading if self.standing else "not_enough_data"

    @property
    def urgent(self) -> bool:
        """Liquid may be coming back to the compressor."""
        return bool(self.standing and self.standing.urgent)

    @cached_property
    def suspicion(self) -> words.Suspicion:
        """The leading condition in words; the compressor's risk where nothing else is suspected."""
        return words.suspicion("wet_return" if self._only_urgent else self.leading)

    @property
    def _only_urgent(self) -> bool:
        return self.urgent and self.leading == "normal"

    @property
    def runner_up(self) -> str:
        """The likeliest fault where none leads and the system is still not quiet."""
        if self.leading != "normal" or self.attention is words.QUIET or self.standing is None:
            return ""
        share, code = max(
            (share, code)
            for code, share in zip(CONDITIONS, self.standing.conditions, strict=False)
            if code != "normal"
        )
        said = _("If anything: %(name)s (%(share)s).")
        return said % {"name": words.suspicion(code).name, "share": words.percent(share)}

    @property
    def probability(self) -> float:
        """The probability of the leading condition."""
        if self.standing is None or self.leading not in CONDITIONS:
            return 0.0
        return dict(zip(CONDITIONS, self.standing.conditions, strict=False)).get(self.leading, 0.0)

    @property
    def sureness(self) -> str:
        """How sure, in words and per cent."""
        if self.leading == "not_enough_data" or self._only_urgent:
            return ""
        return f"{words.sureness(self.probability)}, {words.percent(self.probability)}"

    @cached_property
    def attention(self) -> words.Attention:
        """How much it asks for a person's eye."""
        return words.attention(
            self.leading,
            self.probability,
            urgent=self.urgent,
            open_events=bool(self.open_events),
        )

    @property
    def why(self) -> str:
        """The reason in one line."""
        if self.standing is None:
            return _("No data have been analysed yet.")
        return words.reasons(self.standing.why)

    @property
    def coverage(self) -> float:
        """Share of running time that could be judged."""
        return self.standing.coverage if self.standing else 0.0

    @property
    def coverage_text(self) -> str:
        """The same as printed."""
        return words.percent(self.coverage)

    @property
    def last_sample(self) -> datetime | None:
        """When the last sample was taken."""
        return self.standing.last_sample if self.standing else None

    @property
    def stale(self) -> bool:
        """Its data have stopped coming."""
        return self.last_sample is None or self.now - self.last_sample > STALE

    @property
    def ahead(self) -> str:
        """By how much the last sample lies in the future, in words; empty when it does not."""
        if self.last_sample is None or self.last_sample - self.now <= arrival.TOLERANCE:
            return ""
        return arrival.said(self.last_sample - self.now)

    @property
    def age(self) -> str:
        """How old the last sample is."""
        return words.ago(self.last_sample, self.now)

    @property
    def event(self) -> Event | None:
        """The open event to go to."""
        return handling.to_go_to(self.open_events, self.leading)


def system_lines(
    systems: QuerySet[System], now: datetime, *, ledgers: bool = False
) -> list[SystemLine]:
    """Lines of the systems, highest score first. Two queries, however many systems.

    ``ledgers`` reads the whole verdicts too, for a page of few systems.
    """
    open_events = Event.objects.filter(closed_at=None, withdrawn=False)
    open_events = open_events.select_related("assignee").defer("verdict")
    found = systems.select_related("site__client", "standing")
    found = found if ledgers else found.defer("standing__verdict")
    found = found.prefetch_related(Prefetch("events", open_events, to_attr="open_now")).distinct()
    lines = [
        SystemLine(system, getattr(system, "standing", None), tuple(system.open_now), now)
        for system in found
    ]
    return sorted(lines, key=lambda line: (-line.score, str(line.system)))
