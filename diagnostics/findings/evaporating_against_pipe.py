"""Evaporating pressure against the indoor pipes that evaporate."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_K = -1.0


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("evaporating_under_pipe_k"),
        expected=constant(rows, USUAL_K),
        sigma=constant(rows, 0.7),
        resting_s=seconds(rows, "cooling_s"),
    )


FINDING = Finding(
    name="evaporating_against_pipe",
    title="Evaporating temperature against the coldest indoor liquid pipe",
    phrase="evaporating {measured:+.1f} K against the coldest indoor pipe, usual {expected:+.0f} K",
    unit="K",
    source="the pipe behind the valve reads near saturation: common practice, no source",
    settle="compare the suction transducer with a calibrated gauge",
    measure=_measure,
)
