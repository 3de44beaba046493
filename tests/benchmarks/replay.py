"""A fleet whose windows are known in advance, let into the database day by day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

import numpy as np

from diagnostics.windows import Windows
from fleet.analysis import standing, window_rows
from fleet.ingest.manifest import register
from fleet.models import DueDay, News, Standing, System
from fleet.notices.look import look
from fleet.notices.mails import asks_for_somebody


class Replay:
    """Registered systems and what is still to come of them."""

    def __init__(self, fleet: Sequence[tuple[str, Windows]]) -> None:
        """Register each manifest; its one system's windows come later."""
        sites = [(register(text), windows) for text, windows in fleet]
        self.systems = [(site.systems.get(), windows) for site, windows in sites]
        self.place = {system.pk: i for i, (system, _) in enumerate(self.systems)}

    def pass_day(self, day: datetime) -> Iterator[tuple[int, str, bool]]:
        """One UTC day goes by; its news, told only: place in the fleet, kind, a call or not."""
        for system, windows in self.systems:
            self._analyse(system, windows, day)
        # Data keep coming: what is stored here are windows, not samples.
        Standing.objects.update(last_sample=day + timedelta(days=1))
        noted = [it.pk for it in look(day + timedelta(days=1, hours=6)) if it.told]
        for news in News.objects.filter(pk__in=noted).select_related("event"):
            yield self.place[news.system_id], news.kind, asks_for_somebody(news)

    def _analyse(self, system: System, windows: Windows, day: datetime) -> None:
        date = np.datetime64(day.date())
        known = windows.rows(windows.start.astype("datetime64[D]") == date)
        if not len(known):
            return
        window_rows.replace_day(system.pk, day.date(), known)
        DueDay.objects.create(system=system, day=day.date(), generation=1, analysed_generation=1)
        standing.refresh(system.pk)
