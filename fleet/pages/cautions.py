"""The usual cautions before anybody opens a circuit, with its refrigerant's safety class."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

REFRIGERANT_CLASS = {"R-410A": "A1", "R-32": "A2L", "R-454B": "A2L"}
"""Safety group by ASHRAE 34."""

_PRESSURE = gettext_noop(
    "High pressure: use tools rated for this refrigerant, and never trap liquid between two closed "
    "valves. Escaping liquid freezes skin; the discharge pipe burns."
)
_A1 = gettext_noop(
    "{name} is class A1 (ASHRAE 34): not flammable as used, but it displaces air. "
    "Ventilate, and no open flame near a release."
)
_A2L = gettext_noop(
    "{name} is class A2L (ASHRAE 34): mildly flammable. Ventilate, detector running, no ignition "
    "source, purge with nitrogen before brazing, recovery machine and vacuum pump rated for A2L."
)
_UNKNOWN = gettext_noop(
    "Safety class of {name} is not known here: read it on the nameplate before opening."
)
_ELECTRICAL = gettext_noop(
    "Lock out and tag out before opening the electrical box. The inverter's DC link stays charged "
    "for minutes: wait as its label says and measure before touching."
)
_HEIGHT = gettext_noop("Roof edge and ladders: fall protection as the local rules ask.")
_LAW = gettext_noop(
    "Only licensed people open the circuit. Recover, weigh, compare; nothing here asks to "
    "let refrigerant in or out. Local codes and the competent person on site decide."
)


def cautions(refrigerant: str) -> tuple[str, ...]:
    """The usual cautions, with the refrigerant's safety class."""
    group = REFRIGERANT_CLASS.get(refrigerant)
    gas = {"A1": _A1, "A2L": _A2L}.get(group or "", _UNKNOWN)
    said = (_PRESSURE, gas, _ELECTRICAL, _HEIGHT, _LAW)
    return tuple(_(text).format(name=refrigerant) for text in said)
