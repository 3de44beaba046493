"""What site visits taught, and the weights that come of it, for each service company its own.

A verdict is a pure function of the windows, the method and the weights; the weights are one of the
table and of the visits that count. What a visit is held against is what the plain table says of the
windows at the moment the visit kept, so that what is learned cannot feed on itself.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection, transaction
from django.db.models import QuerySet
from django.db.models.functions import Now

from diagnostics.analyse import METHOD_VERSION
from diagnostics.weighing import learning, weigh
from diagnostics.weighing.learning import Learned, Outcome, Result
from diagnostics.weighing.weigh import CONDITIONS, Weights
from fleet.analysis.locks import Lock, take
from fleet.analysis.record import WINDOW, Record
from fleet.instants import midnight, to_64
from fleet.models import Lesson, SiteVisit, System

_FINGERPRINTS = """
SELECT client.organisation_id,
       md5(string_agg(visit.id || ':' || extract(epoch FROM visit.changed_at), ','
                      ORDER BY visit.id))
FROM fleet_sitevisit AS visit
JOIN fleet_event AS event ON event.id = visit.event_id
JOIN fleet_system AS system ON system.id = event.system_id
JOIN fleet_site AS site ON site.id = system.site_id
JOIN fleet_client AS client ON client.id = site.client_id
WHERE client.organisation_id IS NOT NULL
GROUP BY 1
"""


@dataclass(frozen=True)
class Reading:
    """Outcomes that count, and for every other visit (by its id) why it does not."""

    outcomes: tuple[Outcome, ...]
    left_out: Mapping[int, str]


def weights_of(system_ids: Iterable[int]) -> dict[int, Weights]:
    """The weights each system is judged by, in one query, or two where visits taught something."""
    wanted = System.objects.filter(pk__in=list(system_ids))
    lesson = "site__client__organisation__lesson"
    rows = wanted.values_list("pk", lesson, f"{lesson}__taught", f"{lesson}__method_version")
    lesson_of = {
        pk: key if taught and version == METHOD_VERSION else None
        for pk, key, taught, version in rows
    }
    keys = {key for key in lesson_of.values() if key is not None}
    found = dict(Lesson.objects.filter(pk__in=keys).values_list("pk", "learned"))
    applied = {key: _applied(json.dumps(it, sort_keys=True)) for key, it in found.items()}
    return {pk: applied.get(key or 0, weigh.table()) for pk, key in lesson_of.items()}


@lru_cache(maxsize=32)
def _applied(learned: str) -> Weights:
    """The table with a lesson; the same object for the same lesson."""
    return learning.apply(weigh.table(), Learned.from_json(json.loads(learned)))


def stale() -> bool:
    """Whether visits have changed since their lessons were learned."""
    return bool(_to_learn())


@transaction.atomic
def renew() -> bool:
    """Learn anew where visits or the method have changed; whether any weights are others now."""
    take(Lock.LESSON, 0)
    others = False
    for organisation_id, fingerprint in _to_learn().items():
        lesson = Lesson.objects.filter(organisation=organisation_id).first()
        lesson = lesson or Lesson(organisation_id=organisation_id)
        before = lesson.taught
        learned = learn(organisation_id)
        lesson.fingerprint, lesson.method_version = fingerprint, METHOD_VERSION
        lesson.taught, lesson.learned = learned.name, learned.as_json()
        lesson.save()
        others |= lesson.taught != before
    return others


def _to_learn() -> dict[int, str]:
    """Organisations whose lesson is not that of their visits, with the visits' fingerprint."""
    with connection.cursor() as cursor:
        cursor.execute(_FINGERPRINTS)
        found: dict[int, str] = dict(cursor.fetchall())
    lessons = Lesson.objects.values_list("organisation", "fingerprint", "method_version")
    known = {pk: (fingerprint, version) for pk, fingerprint, version in lessons}
    found |= dict.fromkeys(known.keys() - found.keys(), "")
    return {
        pk: fingerprint
        for pk, fingerprint in sorted(found.items())
        if known.get(pk) != (fingerprint, METHOD_VERSION)
    }


def learn(organisation_id: int) -> Learned:
    """What the visits of an organisation teach; works out first what was not yet said of them."""
    for visit in _visits(organisation_id).filter(said__isnull=True):
        _say(visit)
    return learning.learn(read(organisation_id).outcomes, weigh.table())


def read(organisation_id: int) -> Reading:
    """Every visit as an outcome, or with the reason why it teaches nothing.

    Of several visits for one event the last speaks.
    """
    outcomes: dict[int, tuple[int, Outcome]] = {}
    left_out: dict[int, str] = {}
    for visit in _visits(organisation_id):
        reason = _unusable(visit)
        if reason:
            left_out[visit.pk] = reason
            continue
        if visit.event_id in outcomes:
            left_out[outcomes[visit.event_id][0]] = "a later visit for the same event speaks"
        outcomes[visit.event_id] = visit.pk, _outcome(visit)
    return Reading(tuple(outcome for _, outcome in outcomes.values()), left_out)


def say_again(system_id: int, since: date) -> None:
    """Forget what was said of a system's visits at moments that rest on changed windows."""
    resting = SiteVisit.objects.filter(event__system=system_id, judged_at__gte=midnight(since))
    resting.filter(said__isnull=False).update(said=None, changed_at=Now())


def _visits(organisation_id: int) -> QuerySet[SiteVisit]:
    """Oldest first."""
    visits = SiteVisit.objects.filter(event__system__site__client__organisation=organisation_id)
    visits = visits.select_related("event__system__site").defer("event__verdict")
    return visits.order_by("visited_on", "pk")


def _say(visit: SiteVisit) -> None:
    """Work out what the plain table says at the moment the visit was for, and keep it.

    Where the windows are gone, what the event keeps is taken, less what was learned.
    """
    if visit.judged_at is None:  # recorded by an older release
        visit.suspected, visit.judged_at = visit.event.condition, visit.event.peak_at
    moment = to_64(visit.judged_at)
    record = Record.of(visit.event.system, weigh.table())
    if record.last_window(moment + WINDOW) == moment:
        told: Mapping[str, Any] = record.judge(moment).as_json()
    else:
        told = visit.event.verdict
    plain = told.get("plain") or told.get("conditions") or {}
    visit.said = {"plain": dict(plain), "push": _pushes(told.get("ledger") or ())}
    # Not by save(): that the fingerprint of the visits stays is the point.
    kept = {"said": visit.said, "suspected": visit.suspected, "judged_at": visit.judged_at}
    SiteVisit.objects.filter(pk=visit.pk).update(**kept)


def _pushes(ledger: Iterable[Mapping[str, Any]]) -> dict[str, dict[str, float]]:
    """Pushes of a ledger as the plain table has them: factors learned before are taken out."""
    return {
        entry["finding"]: {
            condition: push / entry.get("factor", 1.0) for condition, push in entry["push"].items()
        }
        for entry in ledger
        if any(entry["push"].values())
    }


def _unusable(visit: SiteVisit) -> str:
    """Why nothing can be learned from a visit; empty if something can."""
    if not visit.counts:
        return "taken out of the count"
    if not visit.said or not visit.said["push"]:
        return "no ledger was kept with the event"
    if {visit.suspected, visit.found_condition or visit.suspected} - set(CONDITIONS):
        return "the condition is not one that is judged any more"
    zone = ZoneInfo(visit.event.system.site.timezone)
    if visit.judged_at is None or visit.judged_at.astimezone(zone).date() > visit.visited_on:
        return "the event was judged again after the visit"
    return ""


def _outcome(visit: SiteVisit) -> Outcome:
    result, said = Result(visit.outcome), visit.said or {}
    return Outcome(
        key=f"visit {visit.pk}",
        system=str(visit.event.system_id),
        visitor="unknown" if visit.visitor_id is None else str(visit.visitor_id),
        suspected=visit.suspected,
        result=result,
        found=visit.found_condition if result is Result.OTHER_CAUSE else "",
        push=said["push"],
        probabilities=said["plain"],
    )
