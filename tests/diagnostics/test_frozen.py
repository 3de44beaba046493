"""Results are a pure function of what went in: nothing handed on can be changed."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil

import diagnostics


def test_whatever_is_handed_on_cannot_be_changed_by_who_gets_it() -> None:
    names = [each.name for each in pkgutil.walk_packages(diagnostics.__path__, "diagnostics.")]
    values = {
        value
        for name in names
        for value in vars(importlib.import_module(name)).values()
        if isinstance(value, type) and dataclasses.is_dataclass(value)
    }
    assert len(values) > 50
    assert not {value.__qualname__ for value in values if not _frozen(value)}


def _frozen(value: type) -> bool:
    return bool(value.__dataclass_params__.frozen)  # type: ignore[attr-defined]
