"""The transitions of ISA-18.2 (figure of the alarm state model), from memory."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.analysis import alarm_state
from fleet.analysis.alarm_state import Alarm, TransitionError
from fleet.models import EventState

NOW = datetime(2026, 3, 2, tzinfo=UTC)
LATER = NOW + timedelta(days=3)

ACTIVE = Alarm(EventState.UNACKNOWLEDGED_ACTIVE, active=True)


def test_seen_while_it_lasts_then_gone_is_normal() -> None:
    seen = alarm_state.acknowledge(ACTIVE)
    assert seen.state is EventState.ACKNOWLEDGED_ACTIVE
    assert alarm_state.return_to_normal(seen).state is EventState.NORMAL


def test_gone_unseen_waits_to_be_seen() -> None:
    gone = alarm_state.return_to_normal(ACTIVE)
    assert gone.state is EventState.RETURNED_UNACKNOWLEDGED
    assert alarm_state.acknowledge(gone).state is EventState.NORMAL
    assert alarm_state.occur(gone).state is EventState.UNACKNOWLEDGED_ACTIVE


def test_an_acknowledged_alarm_stays_so_while_it_goes_on() -> None:
    seen = alarm_state.acknowledge(ACTIVE)
    assert alarm_state.occur(seen) == seen


def test_the_shelf_gives_back_an_alarm_as_new_only_if_it_still_lasts() -> None:
    shelved = alarm_state.shelve(ACTIVE, LATER, " waiting for a part ", now=NOW)
    assert (shelved.state, shelved.shelved_until, shelved.shelved_reason) == (
        EventState.SHELVED,
        LATER,
        "waiting for a part",
    )
    assert alarm_state.occur(shelved).state is EventState.SHELVED
    assert alarm_state.unshelve(shelved) == ACTIVE
    gone = alarm_state.return_to_normal(shelved)
    assert gone.state is EventState.SHELVED
    assert alarm_state.unshelve(gone) == Alarm(EventState.NORMAL, active=False)


@pytest.mark.parametrize(
    ("step", "message"),
    [
        (lambda a: alarm_state.unshelve(a), "is active, unacknowledged is not shelved"),
        (lambda a: alarm_state.return_to_service(a), "is in service"),
        (lambda a: alarm_state.shelve(a, LATER, " ", now=NOW), "needs a reason"),
        (lambda a: alarm_state.shelve(a, NOW, "x", now=NOW), "within the next 90 days"),
        (
            lambda a: alarm_state.shelve(a, NOW + timedelta(days=91), "x", now=NOW),
            "within the next 90 days, not 2026-06-01",
        ),
        (
            lambda a: alarm_state.acknowledge(alarm_state.shelve(a, LATER, "x", now=NOW)),
            "is shelved cannot be acknowledged",
        ),
        (
            lambda a: alarm_state.shelve(alarm_state.remove_from_service(a), LATER, "x", now=NOW),
            "is out of service cannot be shelved",
        ),
        (
            lambda a: alarm_state.remove_from_service(alarm_state.remove_from_service(a)),
            "out of service already",
        ),
    ],
)
def test_a_step_the_state_does_not_allow_says_so(step: object, message: str) -> None:
    with pytest.raises(TransitionError, match=message):
        step(ACTIVE)  # type: ignore[operator]


def test_out_of_service_is_silent_until_put_back() -> None:
    silent = alarm_state.remove_from_service(ACTIVE)
    assert alarm_state.occur(silent).state is EventState.OUT_OF_SERVICE
    assert alarm_state.return_to_service(silent) == ACTIVE


STEPS = {
    "occur": alarm_state.occur,
    "return": alarm_state.return_to_normal,
    "acknowledge": alarm_state.acknowledge,
    "shelve": lambda a: alarm_state.shelve(a, LATER, "because", now=NOW),
    "unshelve": alarm_state.unshelve,
    "remove": alarm_state.remove_from_service,
    "put back": alarm_state.return_to_service,
}


@given(st.lists(st.sampled_from(sorted(STEPS)), max_size=20))
def test_whatever_happens_the_state_agrees_with_the_process(names: list[str]) -> None:
    alarm = ACTIVE
    for name in names:
        try:
            alarm = STEPS[name](alarm)
        except TransitionError:
            continue
        assert (alarm.state is EventState.SHELVED) == (alarm.shelved_until is not None)
        if alarm.state in (EventState.UNACKNOWLEDGED_ACTIVE, EventState.ACKNOWLEDGED_ACTIVE):
            assert alarm.active
        if alarm.state in (EventState.NORMAL, EventState.RETURNED_UNACKNOWLEDGED):
            assert not alarm.active
