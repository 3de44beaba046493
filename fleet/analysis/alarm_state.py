"""States of an event in the vocabulary of ISA-18.2 / IEC 62682, as a pure state machine.

The process moves an alarm by `occur` and `return_to_normal`; people move it by the rest. Shelving
is always for a limited time and with a reason; whoever takes an alarm back from the shelf sees it
as new while its suspicion lasts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from fleet.models import EventState

LONGEST_SHELVING = timedelta(days=90)
"""Common practice, no source: an alarm shelved for a season is forgotten, not shelved."""

_OCCURRED = {
    EventState.NORMAL: EventState.UNACKNOWLEDGED_ACTIVE,
    EventState.RETURNED_UNACKNOWLEDGED: EventState.UNACKNOWLEDGED_ACTIVE,
}
_RETURNED = {
    EventState.UNACKNOWLEDGED_ACTIVE: EventState.RETURNED_UNACKNOWLEDGED,
    EventState.ACKNOWLEDGED_ACTIVE: EventState.NORMAL,
}
_ACKNOWLEDGED = {
    EventState.UNACKNOWLEDGED_ACTIVE: EventState.ACKNOWLEDGED_ACTIVE,
    EventState.RETURNED_UNACKNOWLEDGED: EventState.NORMAL,
}
_SHELVABLE = (
    EventState.UNACKNOWLEDGED_ACTIVE,
    EventState.ACKNOWLEDGED_ACTIVE,
    EventState.RETURNED_UNACKNOWLEDGED,
)


class TransitionError(ValueError):
    """The event's state does not allow this step; the message says which state it is in."""


@dataclass(frozen=True)
class Alarm:
    """The state of one event. ``active``: its suspicion still lasts, whatever people did."""

    state: EventState
    active: bool
    shelved_until: datetime | None = None
    shelved_reason: str = ""


def occur(alarm: Alarm) -> Alarm:
    """The suspicion is there (again). A shelved alarm stays on its shelf."""
    return replace(alarm, active=True, state=_OCCURRED.get(alarm.state, alarm.state))


def return_to_normal(alarm: Alarm) -> Alarm:
    """The suspicion is gone; one that nobody has seen waits until somebody does."""
    return replace(alarm, active=False, state=_RETURNED.get(alarm.state, alarm.state))


def acknowledge(alarm: Alarm) -> Alarm:
    """Somebody has seen it. Seeing it twice changes nothing. Raises TransitionError."""
    if alarm.state in (EventState.ACKNOWLEDGED_ACTIVE, EventState.NORMAL):
        return alarm
    return replace(alarm, state=_step(alarm, _ACKNOWLEDGED, "acknowledged"))


def shelve(alarm: Alarm, until: datetime, reason: str, *, now: datetime) -> Alarm:
    """Out of sight until ``until``. Raises TransitionError: no reason, too long, wrong state."""
    if alarm.state not in _SHELVABLE:
        raise TransitionError(f"An event that is {alarm.state.label} cannot be shelved.")
    if not reason.strip():
        raise TransitionError("Shelving needs a reason.")
    if not now < until <= now + LONGEST_SHELVING:
        raise TransitionError(
            f"Shelve until a time within the next {LONGEST_SHELVING.days} days,"
            f" not {until:%Y-%m-%d}."
        )
    return replace(
        alarm, state=EventState.SHELVED, shelved_until=until, shelved_reason=reason.strip()
    )


def unshelve(alarm: Alarm) -> Alarm:
    """Back from the shelf, by hand or because its time is over. Raises TransitionError."""
    if alarm.state is not EventState.SHELVED:
        raise TransitionError(f"An event that is {alarm.state.label} is not shelved.")
    return _as_new(alarm)


def remove_from_service(alarm: Alarm) -> Alarm:
    """Silent until put back, for instance while the system is rebuilt. Raises TransitionError."""
    if alarm.state is EventState.OUT_OF_SERVICE:
        raise TransitionError("This event is out of service already.")
    return Alarm(EventState.OUT_OF_SERVICE, alarm.active)


def return_to_service(alarm: Alarm) -> Alarm:
    """Put back after `remove_from_service`. Raises TransitionError."""
    if alarm.state is not EventState.OUT_OF_SERVICE:
        raise TransitionError(f"An event that is {alarm.state.label} is in service.")
    return _as_new(alarm)


def _as_new(alarm: Alarm) -> Alarm:
    state = EventState.UNACKNOWLEDGED_ACTIVE if alarm.active else EventState.NORMAL
    return Alarm(state, alarm.active)


def _step(alarm: Alarm, steps: dict[EventState, EventState], verb: str) -> EventState:
    try:
        return steps[alarm.state]
    except KeyError:
        raise TransitionError(f"An event that is {alarm.state.label} cannot be {verb}.") from None
