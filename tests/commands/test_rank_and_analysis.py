"""``rank`` and ``analysis`` as callers see them: output, files, exit status."""

from __future__ import annotations

import csv
import io
import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from fleet.analysis import backlog
from fleet.models import System
from tests.analysis import building
from tests.commands.calling import refusal, run

pytestmark = pytest.mark.django_db

COLUMNS = [
    "time", "operating_state", "steady", "flow_direction", "subcooling_point", "subcooling_k",
    "other_point_subcooling_k", "suction_superheat_k", "discharge_superheat_k",
    "liquid_flow_kg_s", "liquid_flow_low_kg_s", "liquid_flow_high_kg_s", "compressor_flow_kg_s",
    "hunting",
]  # fmt: skip


@pytest.fixture
def system() -> System:
    system = building.registered()
    building.take_in(system, building.cooling(26.0))
    backlog.drain()
    return system


def test_rank_prints_the_contracts_json(system: System) -> None:
    document = json.loads(run("rank", "--format", "json", "--at", "2026-03-03T01:00:00+01:00"))
    assert document["at"] == "2026-03-03T00:00:00Z"
    (site,) = document["sites"]
    assert (site["site"], site["rank"]) == ("ferry-hall", 1)
    (ranked,) = site["systems"]
    assert ranked["system"] == "R1"
    assert ranked["last_sample"] == "2026-03-03T00:00:00Z"
    assert sum(ranked["conditions"].values()) == pytest.approx(1.0)


def test_rank_prints_a_table_with_a_line_a_system(system: System) -> None:
    building.registered(code="R2")
    text = run("rank")
    assert [line for line in text.splitlines() if "ferry-hall/R1" in line]
    (silent,) = [line for line in text.splitlines() if "ferry-hall/R2" in line]
    assert "not enough data" in silent
    assert "none" in silent


def test_rank_of_an_empty_installation_says_what_to_do() -> None:
    assert "Load one with load_site" in run("rank")
    assert json.loads(run("rank", "--format", "json"))["sites"] == []


def test_analysis_writes_the_contracts_columns(system: System, tmp_path: Path) -> None:
    output = tmp_path / "out.csv"
    span = ("--start", "2026-03-02T10:00:00Z", "--end", "2026-03-02T11:00:00Z")
    run("analysis", "ferry-hall/R1", *span, "--output", str(output))
    text = output.read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert list(rows[0]) == COLUMNS
    assert len(rows) == 60
    assert rows[0]["time"] == "2026-03-02T10:00:00Z"
    assert {row["operating_state"] for row in rows} == {"cooling"}
    assert {row["steady"] for row in rows} <= {"0", "1"}
    assert {row["flow_direction"] for row in rows} == {"to_indoor"}
    assert {row["subcooling_point"] for row in rows} == {"outdoor_side"}
    assert {row["hunting"] for row in rows} <= {"0", "1", ""}
    assert "nan" not in text.lower()


def test_what_cannot_be_told_is_an_empty_cell(system: System, tmp_path: Path) -> None:
    # The pressures are there, the liquid's temperatures are not: no subcooling, no direction.
    bare = building.registered(code="R2")
    block = building.cooling(3.0)
    hidden = {"liquid_temperature_outdoor_side", "liquid_temperature_indoor_side"}
    kept = {name: codes for name, codes in block.outdoor.items() if name not in hidden}
    building.take_in(bare, building.Block(block.time, kept, {}))
    output = tmp_path / "out.csv"
    span = ("--start", "2026-03-02T00:00:00Z", "--end", "2026-03-03T00:00:00Z")
    run("analysis", "ferry-hall/R2", *span, "--output", str(output))
    rows = list(csv.DictReader(io.StringIO(output.read_text(encoding="utf-8"))))
    assert {row["subcooling_k"] for row in rows} == {""}
    undetermined = [row for row in rows if row["flow_direction"] == "undetermined"]
    assert undetermined
    assert {row["subcooling_point"] for row in undetermined} == {""}


def test_parquet_holds_the_same_as_csv(system: System, tmp_path: Path) -> None:
    span = ("--start", "2026-03-02T23:00:00Z", "--end", "2026-03-03T01:00:00Z")
    for name in ("out.csv", "out.parquet"):
        run("analysis", "ferry-hall/R1", *span, "--output", str(tmp_path / name))
    parquet = pl.read_parquet(tmp_path / "out.parquet")
    assert parquet.columns == COLUMNS
    assert parquet["time"][0] == building.START + timedelta(hours=23)
    as_text: dict[str, Any] = {"infer_schema_length": None, "try_parse_dates": True}
    again = pl.read_csv(tmp_path / "out.csv", **as_text)
    for name in COLUMNS[5:13]:
        if again[name].dtype.is_float():
            assert again[name].equals(parquet[name]), name


SPAN = ("--start", "2026-03-02T00:00:00Z", "--end", "2026-03-03T00:00:00Z")


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (("rank", "--at", "yesterday"), 2, "--at 'yesterday' is no RFC 3339 time"),
        (("rank", "--at", "2026-03-05T00:00:00"), 2, "has no offset: write it as 2026-03-05T00"),
        (("analysis", "R1", *SPAN, "--output", "a.csv"), 2, "write SITE/SYSTEM"),
        (("analysis", "ferry-hall/R1", *SPAN, "--output", "a.txt"), 2, "must end in .csv or .par"),
        (
            ("analysis", "ferry-hall/R1", *SPAN[:3], SPAN[1], "--output", "a.csv"),
            2,
            "--end must be later than --start",
        ),
        (("analysis", "no-hall/R1", *SPAN, "--output", "a.csv"), 1, "no-hall/R1 is not registered"),
        (
            ("analysis", "ferry-hall/R1", *SPAN, "--output", "/no/such/folder/a.csv"),
            1,
            "cannot write /no/such/folder/a.csv: No such file or directory",
        ),
        (
            ("analysis", "ferry-hall/R1", *SPAN, "--output", "/no/such/folder/a.parquet"),
            1,
            "cannot write /no/such/folder/a.parquet",
        ),
    ],
)
def test_a_refusal_says_what_is_wrong(
    system: System, arguments: tuple[str, ...], status: int, message: str
) -> None:
    returncode, text = refusal(*arguments)
    assert message in text
    assert returncode == status
