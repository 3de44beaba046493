"""Visits become outcomes, and outcomes weights, from the stored rows alone."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.contrib.auth import get_user_model

from diagnostics.findings import REGISTRY
from diagnostics.weighing import weigh
from diagnostics.weighing.weigh import CONDITIONS, Weights
from fleet.analysis import backlog, learning
from fleet.analysis.learning import Reading
from fleet.models import Event, Organisation, SiteVisit, Standing, System, VisitOutcome
from tests.analysis import building
from tests.diagnostics.rows import windows

pytestmark = pytest.mark.django_db

PEAK = datetime(2026, 3, 10, 12, tzinfo=UTC)
VISITED = date(2026, 3, 12)
FIRST = REGISTRY[0].name


def verdict(**push: float) -> dict[str, Any]:
    """A stored verdict whose first finding pushed so."""
    said = dict.fromkeys(CONDITIONS, 0.0) | push
    return {
        "conditions": dict.fromkeys(CONDITIONS, 0.1) | {"overcharge": 0.5},
        "ledger": [{"finding": FIRST, "push": said}],
    }


def event(system: System, number: int = 0, **more: Any) -> Event:
    """An event that was suspected to be overcharge."""
    opened = PEAK.replace(hour=number)
    values = {
        "condition": "overcharge",
        "opened_at": opened,
        "last_window": PEAK,
        "peak_probability": 0.9,
        "peak_at": PEAK,
        "verdict": verdict(overcharge=2.0),
    }
    return Event.objects.create(system=system, **values | more)


def visit(
    of: Event, outcome: VisitOutcome = VisitOutcome.CONFIRMED, found: str = "", **more: Any
) -> SiteVisit:
    """A visit two days after the peak."""
    values = {"visited_on": VISITED, "outcome": outcome, "found_condition": found}
    return SiteVisit.objects.create(event=of, **values | more)


@pytest.fixture
def system() -> System:
    return building.registered()


def taught(system: System) -> Weights:
    """The weights by which a system is judged once its visits have been learned from."""
    learning.renew()
    return learning.weights_of([system.pk])[system.pk]


def prior(system: System, name: str) -> float:
    """The prior of a condition with what the visits taught."""
    weights = taught(system)
    return float(np.exp(weights.prior[weights.condition == CONDITIONS.index(name)]).sum())


def read(system: System) -> Reading:
    """The visits of the system's organisation as outcomes."""
    learning.renew()
    return learning.read(system.site.client.organisation_id or 0)


def take_out(visit: SiteVisit) -> None:
    visit.counts = False
    visit.save()


def test_without_visits_the_weights_are_the_table_s(system: System) -> None:
    assert not learning.renew()
    assert taught(system) is weigh.table()


def test_a_visit_says_who_went_where_and_what_the_ledger_had_said(system: System) -> None:
    person = get_user_model().objects.create_user("ines")
    made = visit(event(system), VisitOutcome.OTHER_CAUSE, "sensor_fault", visitor=person)
    (outcome,) = read(system).outcomes
    assert outcome.key == f"visit {made.pk}"
    assert (outcome.system, outcome.visitor) == (str(system.pk), str(person.pk))
    assert (outcome.suspected, outcome.truth) == ("overcharge", ("sensor_fault",))
    assert outcome.push[FIRST]["overcharge"] == 2.0
    assert outcome.probabilities["overcharge"] == 0.5


def test_a_visit_keeps_what_it_went_for_when_the_event_moves_on(system: System) -> None:
    of = event(system)
    visit(of)
    of.condition, of.peak_at, of.withdrawn = "undercharge", PEAK.replace(day=14), True
    of.save()
    (outcome,) = read(system).outcomes
    assert outcome.suspected == "overcharge"


def test_a_cause_named_beside_a_confirmation_does_not_count(system: System) -> None:
    visit(event(system), VisitOutcome.CONFIRMED, "sensor_fault")
    assert read(system).outcomes[0].truth == ("overcharge",)


def test_factors_that_had_been_learned_are_taken_out_of_the_pushes(system: System) -> None:
    said = verdict(overcharge=2.0)
    said["ledger"][0]["factor"] = 0.8
    visit(event(system, verdict=said))
    assert read(system).outcomes[0].push[FIRST]["overcharge"] == pytest.approx(2.5)


def test_outcomes_move_the_prior_and_taking_one_out_moves_it_back(system: System) -> None:
    table = prior(system, "sensor_fault")
    first = visit(event(system, 0), VisitOutcome.OTHER_CAUSE, "sensor_fault")
    one = prior(system, "sensor_fault")
    second = visit(event(system, 1), VisitOutcome.OTHER_CAUSE, "sensor_fault")
    assert table < one < prior(system, "sensor_fault")
    take_out(second)
    assert prior(system, "sensor_fault") == one
    take_out(first)
    assert taught(system) is weigh.table()
    second.counts = True
    second.save()
    assert prior(system, "sensor_fault") == pytest.approx(one)


def test_a_deleted_visit_teaches_nothing_any_more(system: System) -> None:
    made = visit(event(system), VisitOutcome.OTHER_CAUSE, "sensor_fault")
    assert taught(system).taught
    made.delete()
    assert taught(system) is weigh.table()


def test_another_company_s_visits_teach_nothing(system: System) -> None:
    stranger = building.registered("mill-lane", client="plover")
    stranger.site.client.organisation = Organisation.objects.create(code="other", name="Other")
    stranger.site.client.save()
    visit(event(stranger), VisitOutcome.OTHER_CAUSE, "sensor_fault")
    assert taught(system) is weigh.table()
    assert taught(stranger).taught


def test_of_two_visits_for_an_event_the_later_speaks(system: System) -> None:
    of = event(system)
    late = visit(of, VisitOutcome.CONFIRMED)
    early = visit(of, VisitOutcome.NOTHING_FOUND, visited_on=date(2026, 3, 11))
    reading = read(system)
    assert [outcome.key for outcome in reading.outcomes] == [f"visit {late.pk}"]
    assert reading.left_out == {early.pk: "a later visit for the same event speaks"}


def test_taking_the_later_visit_out_lets_the_earlier_speak(system: System) -> None:
    of = event(system)
    late = visit(of, VisitOutcome.CONFIRMED)
    visit(of, VisitOutcome.NOTHING_FOUND, visited_on=date(2026, 3, 11))
    take_out(late)
    reading = read(system)
    assert [outcome.truth for outcome in reading.outcomes] == [("normal",)]
    assert reading.left_out == {late.pk: "taken out of the count"}


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"verdict": {}}, "no ledger"),
        ({"condition": "gremlins"}, "not one that is judged any more"),
        ({"peak_at": datetime(2026, 3, 13, 9, tzinfo=UTC)}, "judged again after the visit"),
    ],
)
def test_visits_that_teach_nothing_are_left_out_with_the_reason(
    system: System, more: dict[str, Any], reason: str
) -> None:
    made = visit(event(system, **more))
    reading = read(system)
    assert reading.outcomes == ()
    assert reason in reading.left_out[made.pk]


def test_the_day_of_the_visit_is_the_day_at_the_site(system: System) -> None:
    """23:30 UTC on 12 June is already the 13th in Lisbon's summer."""
    made = visit(
        event(system, peak_at=datetime(2026, 6, 12, 23, 30, tzinfo=UTC)),
        visited_on=date(2026, 6, 12),
    )
    assert made.pk in read(system).left_out


def test_the_same_visits_are_learned_from_once(
    system: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit(event(system))
    assert learning.stale()
    first = taught(system)
    assert not learning.stale()

    def refuse(*_: object) -> None:
        raise AssertionError("learned again")

    monkeypatch.setattr(learning.learning, "learn", refuse)
    assert taught(system) is first
    visit(event(system, 1))
    with pytest.raises(AssertionError, match="learned again"):
        learning.renew()


SICK = {
    "subcooling_to_indoor_k": 12.0,
    "discharge_superheat_k": 24.0,
    "suction_superheat_k": 3.0,
}


def results(system: System) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Everything that is said of the system, without keys."""
    events = Event.objects.filter(system=system).order_by("opened_at")
    return list(Standing.objects.values()), list(events.values())


@pytest.fixture
def suspected(system: System) -> Event:
    """The open event of a system with stored windows."""
    building.keep_windows(system, windows(4 * 96, **SICK))
    backlog.drain()
    return Event.objects.get(system=system)


def visited(of: Event) -> SiteVisit:
    """Somebody found a wrong sensor the day after."""
    day = of.peak_at.date() + timedelta(1)
    return visit(of, VisitOutcome.OTHER_CAUSE, "sensor_fault", visited_on=day)


def test_what_visits_teach_reaches_standing_and_event_and_can_be_taken_back(
    suspected: Event,
) -> None:
    before = results(suspected.system)
    made = visited(suspected)
    assert learning.renew()
    assert backlog.systems_with_work() == [suspected.system_id]
    backlog.drain()
    assert backlog.systems_with_work() == []
    (standing,), (moved,) = results(suspected.system)
    assert standing["taught"]
    assert standing["verdict"]["conditions"]["sensor_fault"] > before[0][0]["conditions"][-1]
    assert moved["verdict"]["taught"] == standing["taught"]
    plain = before[0][0]["verdict"]["conditions"]
    assert standing["verdict"]["plain"] == pytest.approx(plain)
    take_out(made)
    learning.renew()
    backlog.drain()
    assert results(suspected.system) == before


def test_learning_does_not_feed_on_itself(suspected: Event) -> None:
    """What a visit is held against stays what the plain table says, however often it is judged."""
    made = visited(suspected)
    learning.renew()
    backlog.drain()
    said = SiteVisit.objects.get(pk=made.pk).said
    name = Standing.objects.get().taught
    SiteVisit.objects.get(pk=made.pk).save()
    SiteVisit.objects.update(said=None)
    learning.renew()
    backlog.drain()
    assert SiteVisit.objects.get(pk=made.pk).said == said
    assert Standing.objects.get().taught == name


def test_data_that_change_before_the_visit_change_what_it_is_held_against(
    suspected: Event,
) -> None:
    made = visited(suspected)
    learning.renew()
    backlog.drain()
    said = SiteVisit.objects.get(pk=made.pk).said
    building.keep_windows(suspected.system, windows(4 * 96, **SICK | {"suction_superheat_k": 6.0}))
    backlog.drain()
    assert learning.stale()
    learning.renew()
    assert SiteVisit.objects.get(pk=made.pk).said != said
    assert SiteVisit.objects.get(pk=made.pk).said is not None
