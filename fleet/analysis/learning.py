"""What site visits taught, from the events they were made for.

Only stored rows are read; leaving a visit out gives the weights as if it had never been made.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.core.cache import cache

from diagnostics import learning, weigh
from diagnostics.analyse import METHOD_VERSION
from diagnostics.learning import Learned, Outcome, Result
from diagnostics.weigh import CONDITIONS, Weights
from fleet.models import Event, SiteVisit

KEPT_S = 86_400.0
"""Seconds what was learned is kept for; its name holds all it depends on, so it is never stale."""


@dataclass(frozen=True)
class Reading:
    """Outcomes that count, and for every other visit (by its id) why it does not."""

    outcomes: tuple[Outcome, ...]
    left_out: Mapping[int, str]


def learned_weights(without: Collection[int] = ()) -> Weights:
    """The table of weights with what all visits but ``without`` (ids) taught."""
    return learning.apply(weigh.table(), learned(without))


def learned(without: Collection[int] = ()) -> Learned:
    """What all visits but ``without`` (ids) taught; computed once for the same outcomes."""
    outcomes, table = read(without).outcomes, weigh.table()
    name = f"learned:{METHOD_VERSION}:{learning.digest(outcomes, table)}"
    kept = cache.get(name)
    if not isinstance(kept, Learned):
        kept = learning.learn(outcomes, table)
        cache.set(name, kept, KEPT_S)
    return kept


def read(without: Collection[int] = ()) -> Reading:
    """Every visit as an outcome, or with the reason why it teaches nothing.

    Of several visits for one event the last speaks.
    """
    visits = SiteVisit.objects.select_related("event__system__site").order_by("visited_on", "pk")
    return _sorted_out(visits, frozenset(without))


def _sorted_out(visits: Iterable[SiteVisit], without: frozenset[int]) -> Reading:
    outcomes: dict[int, tuple[int, Outcome]] = {}
    left_out: dict[int, str] = {}
    for visit in visits:
        reason = "taken out of the count" if visit.pk in without else _unusable(visit)
        if reason:
            left_out[visit.pk] = reason
            continue
        if visit.event_id in outcomes:
            left_out[outcomes[visit.event_id][0]] = "a later visit for the same event speaks"
        outcomes[visit.event_id] = visit.pk, _outcome(visit)
    return Reading(tuple(outcome for _, outcome in outcomes.values()), left_out)


def _unusable(visit: SiteVisit) -> str:
    """Why nothing can be learned from a visit; empty if something can."""
    event = visit.event
    if event.withdrawn:
        return "the event was withdrawn: what had been said rests on data that changed"
    if not event.verdict.get("ledger"):
        return "no ledger was kept with the event"
    if {event.condition, visit.found_condition or event.condition} - set(CONDITIONS):
        return "the condition is not one that is judged any more"
    zone = ZoneInfo(event.system.site.timezone)
    if event.peak_at.astimezone(zone).date() > visit.visited_on:
        return "the event was judged again after the visit"
    return ""


def _outcome(visit: SiteVisit) -> Outcome:
    event, result = visit.event, Result(visit.outcome)
    return Outcome(
        key=f"visit {visit.pk}",
        system=str(event.system_id),
        visitor="unknown" if visit.visitor_id is None else str(visit.visitor_id),
        suspected=event.condition,
        result=result,
        found=visit.found_condition if result is Result.OTHER_CAUSE else "",
        push=_pushes(event),
        probabilities=dict(event.verdict.get("plain") or event.verdict["conditions"]),
    )


def _pushes(event: Event) -> dict[str, dict[str, float]]:
    """Pushes of the ledger as the plain table has them: factors learned before are taken out."""
    entries: list[dict[str, Any]] = event.verdict["ledger"]
    return {
        entry["finding"]: {
            condition: push / entry.get("factor", 1.0) for condition, push in entry["push"].items()
        }
        for entry in entries
    }
