"""A system's data taken away from its page."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from diagnostics.channels import EMPTY
from fleet.timeseries import store
from fleet.timeseries.store import Block
from tests.pages.building.test_page import put_windows
from tests.pages.scene import Scene, signed_in

WEEK = "first=2026-03-02&last=2026-03-03"


def address(what: str, kind: str, span: str = WEEK) -> str:
    return f"/sites/ferry-hall/R1/data?what={what}&kind={kind}&{span}"


@pytest.fixture
def logged(fleet: Scene) -> Scene:
    """A minute of samples a quarter past midnight, site time, on 2 March."""
    time = np.datetime64("2026-03-02T00:15:00", "us") + np.arange(6) * np.timedelta64(10, "s")
    codes = np.full(6, 600, np.int16)
    codes[3] = EMPTY
    store.merge(fleet.system.pk, Block(time, {"outdoor_air_temperature": codes}, {}))
    return fleet


def test_samples_come_as_csv_with_units_in_the_titles(logged: Scene) -> None:
    answer = signed_in(logged.rep).get(address("samples", "csv"))
    assert answer["Content-Type"] == "text/csv"
    assert (
        'filename="ferry-hall-R1-samples-2026-03-02-2026-03-03.csv"'
        in answer["Content-Disposition"]
    )
    table = pl.read_csv(io.BytesIO(answer.content))
    assert table.columns == ["time", "outdoor_air_temperature [degC]"]
    assert table.height == 6
    assert table["outdoor_air_temperature [degC]"].null_count() == 1


def test_results_come_as_parquet_with_the_commands_columns(logged: Scene) -> None:
    answer = signed_in(logged.technician).get(address("results", "parquet"))
    table = pl.read_parquet(io.BytesIO(answer.content))
    assert table.columns[:3] == ["time", "operating_state", "steady"]
    assert table.height == 6


def test_windows_are_cut_at_the_days_of_the_site(fleet: Scene) -> None:
    put_windows(fleet.system, datetime(2026, 3, 1, 12, tzinfo=UTC), [4.0, 5.0, 6.0, 7.0])
    answer = signed_in(fleet.manager).get(address("windows", "csv"))
    table = pl.read_csv(io.BytesIO(answer.content))
    assert table["subcooling_to_indoor_k [K]"].to_list() == [5.0, 6.0]


@pytest.mark.parametrize(
    "span", ["first=2026-03-05&last=2026-03-01", "first=2026-01-01&last=2026-03-01"]
)
def test_days_in_the_wrong_order_or_too_many_are_refused(fleet: Scene, span: str) -> None:
    answer = signed_in(fleet.manager).get(address("samples", "csv", span), follow=True)
    assert "Choose 1 to 31 days, the first before the last" in answer.content.decode()


def test_outsiders_get_404(fleet: Scene) -> None:
    assert signed_in(fleet.outsider).get(address("samples", "csv")).status_code == 404
