"""Which stretch of time an event's plot shows: whole days on the site's clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.instants import DAY, midnight

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleet.models import Event

LENGTHS = {"day": 1, "3days": 3, "week": 7}
WORDS = {
    "day": gettext_lazy("a day"),
    "3days": gettext_lazy("3 days"),
    "week": gettext_lazy("a week"),
}
DEFAULT = "day"


@dataclass(frozen=True)
class Span:
    """Local days [first, first + days) at a site."""

    code: str
    first: date
    event: Event

    @property
    def days(self) -> int:
        """How many."""
        return LENGTHS[self.code]

    @property
    def last(self) -> date:
        """The last day shown."""
        return self.first + timedelta(days=self.days - 1)

    @property
    def middle(self) -> date:
        """The day around which the span lies."""
        return self.first + timedelta(days=self.days // 2)

    @property
    def start(self) -> datetime:
        """Local midnight, in UTC."""
        return midnight(self.first, self.event.system.site.zone)

    @property
    def end(self) -> datetime:
        """Local midnight after the last day, in UTC."""
        return midnight(self.last + DAY, self.event.system.site.zone)

    @property
    def earlier(self) -> date:
        """The middle of the span before."""
        return self.middle - timedelta(days=self.days)

    @property
    def later(self) -> date:
        """The middle of the span after."""
        return self.middle + timedelta(days=self.days)

    @property
    def offset_s(self) -> int:
        """Seconds the site's clock is ahead of UTC when the span begins."""
        local = self.start.astimezone(self.event.system.site.zone)
        return int((local.utcoffset() or timedelta()).total_seconds())

    @property
    def clock(self) -> str:
        """What the time axis says of its clock; one offset for the whole span, and so said."""
        zone = self.event.system.site.zone
        sign, seconds = "−" if self.offset_s < 0 else "+", abs(self.offset_s)
        name = f"UTC{sign}{seconds // 3600}:{seconds % 3600 // 60:02d}"
        end = self.end.astimezone(zone).utcoffset() or timedelta()
        changed = _("; the clocks change in this span, drawn without the change")
        suffix = changed if end.total_seconds() != self.offset_s else ""
        return _("time at the site (%(zone)s)") % {"zone": f"{zone.key}, {name}{suffix}"}

    def local_ms(self, moment: datetime) -> int:
        """An instant on the site's clock, in milliseconds as a plot's date axis counts them."""
        return 1000 * (int(moment.timestamp()) + self.offset_s)


def chosen(event: Event, asked: Mapping[str, str]) -> Span:
    """The span asked for by ``span`` and ``on`` (a local day); else the day of the peak."""
    code = asked.get("span", DEFAULT)
    code = code if code in LENGTHS else DEFAULT
    peak = event.peak_at.astimezone(event.system.site.zone).date()
    try:
        on = date.fromisoformat(asked.get("on", ""))
    except ValueError:
        on = peak
    # Beyond the years any sample can have, dates only make arithmetic fail.
    on = on if 1990 <= on.year <= 2100 else peak
    return Span(code, on - timedelta(days=LENGTHS[code] // 2), event)
