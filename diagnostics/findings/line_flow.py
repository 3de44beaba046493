"""Liquid flow from the subcooler's balance against the compressor's."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("flow_log_ratio"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.25),
        resting_s=seconds(rows, "flow_s"),
    )


FINDING = Finding(
    name="line_flow",
    title="Line flow by the subcooler's balance, over the compressor's flow",
    phrase="line flow {measured:.0%} of the compressor's",
    unit="ratio",
    source="energy balance of the subcooler; valve equation within 25 %, compressor within 15 %",
    settle="compare with a clamp-on or pump-down estimate by a qualified person",
    measure=_measure,
)
