"""What a technician is told to check, bring and mind."""

from __future__ import annotations

from diagnostics.findings import REGISTRY
from fleet.pages.event import advice


def test_wet_return_is_checked_before_anything_else() -> None:
    for condition in advice.conditions():
        calm, urgent = advice.advice(condition), advice.advice(condition, urgent=True)
        assert urgent.checks[1:] == calm.checks
        assert urgent.checks[0].finding == "discharge_superheat"
        assert "competent person on site" in urgent.checks[0].confirms


def test_what_is_brought_fits_the_refrigerants_class() -> None:
    for condition in advice.conditions():
        plain, flammable = (advice.advice(condition, it).bring for it in ("R-410A", "R-32"))
        assert any("Gloves and goggles" in it for it in plain)
        assert not any("flammable" in it for it in plain)
        assert set(flammable) > set(plain)
        assert any("Gas detector" in it for it in flammable)


def test_checks_point_at_findings_that_exist() -> None:
    known = {finding.name for finding in REGISTRY}
    listed = [advice.advice(code, urgent=True) for code in advice.conditions()]
    named = {check.finding for it in listed for check in it.checks}
    assert named - {""} <= known


def test_no_advice_orders_refrigerant_in_or_out() -> None:
    for condition in advice.conditions():
        for check in advice.advice(condition, urgent=True).checks:
            assert not {"add", "remove", "charge up", "vent"} & set(check.do.lower().split())
