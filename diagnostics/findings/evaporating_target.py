"""Evaporating temperature against its target in cooling."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("evaporating_error_k"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.5),
        resting_s=seconds(rows, "cooling_s"),
    )


FINDING = Finding(
    name="evaporating_target",
    title="Evaporating temperature above (+) or below (-) its target",
    phrase="evaporating {measured:+.1f} K from its target",
    unit="K",
    source="the controller's own target, as logged",
    settle="compare suction pressure with the target shown by the outdoor unit in steady cooling",
    measure=_measure,
)
