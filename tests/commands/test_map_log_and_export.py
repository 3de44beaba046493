"""``map_log`` reads another logger's file; ``export`` hands out what is known of a system."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from django.core.management import CommandError

from diagnostics.windows import FEATURES, INDEX, Windows
from fleet.analysis import export
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import IndoorUnit, LogMapping, System, UploadState
from fleet.timeseries import store
from tests.analysis import building
from tests.commands.calling import run
from tests.ingest.building import registered
from tests.ingest.test_mapping import foreign

SPAN = ("--start", "2026-03-05T00:00:00Z", "--end", "2026-03-06T00:00:00Z")


@pytest.fixture
def system(db: None) -> System:
    return registered()


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_bytes(foreign())
    return path


def test_columns_are_listed_with_what_they_are_and_why(system: System, log: Path) -> None:
    said = run("map_log", system, log)
    assert "High press. (bar)" in said
    assert "discharge_pressure [bar(g)]" in said
    assert "Of the sample, 60 rows would be taken in; 0 rows and 0 cells left out." in said
    assert not LogMapping.objects.exists()


def test_used_mappings_take_refused_files_up_again(system: System, log: Path) -> None:
    upload, _ = receive(system, "log.csv", foreign())
    assert take_in(upload.pk).state == UploadState.REFUSED
    said = run("map_log", system, log, "--use")
    assert "In use at ferry-hall" in said
    assert "1 refused before are taken up again" in said
    assert take_in(upload.pk).state == UploadState.TAKEN_IN


def test_corrections_have_the_last_word(system: System, log: Path) -> None:
    correction = "Serial=A-102/room_temperature [degC]*0.005"
    said = run("map_log", system, log, "--is", correction, "--is", "A-101 thermo=", "--use")
    columns = LogMapping.objects.get().layout["columns"]
    assert columns["Serial"] == {"title": "A-102/room_temperature [degC]", "scale": 0.005}
    assert "A-101 thermo" not in columns
    assert "0.005" in said


def test_a_newer_mapping_of_the_same_titles_takes_the_place_of_the_older(
    system: System, log: Path
) -> None:
    run("map_log", system, log, "--use")
    run("map_log", system, log, "--use", "--utc")
    assert list(LogMapping.objects.values_list("in_use", flat=True)) == [True, False]


@pytest.mark.parametrize(
    ("correction", "said"),
    [
        ("Nothing=demand", "write COLUMN=CHANNEL"),
        ("Serial=demand*x", r"behind \* stands a number"),
        ("Serial=discharge_pressure [kPa(g)]", "hold the same channel"),
        ("Serial=suction_temperature", "unit"),
    ],
)
def test_bad_corrections_are_refused(system: System, log: Path, correction: str, said: str) -> None:
    with pytest.raises(CommandError, match=said):
        run("map_log", system, log, "--is", correction, "--use")
    assert not LogMapping.objects.exists()


def test_a_file_that_is_no_table_is_refused(system: System, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("hello\n")
    with pytest.raises(CommandError, match="no table was found"):
        run("map_log", system, tmp_path / "a.csv")
    with pytest.raises(CommandError, match="cannot read"):
        run("map_log", system, tmp_path / "b.csv")


@pytest.fixture
def logged(db: None) -> System:
    made = building.registered()
    building.take_in(made, building.cooling(3.0))
    return made


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_exported_samples_can_be_taken_in_again_unchanged(
    logged: System, tmp_path: Path, suffix: str
) -> None:
    extent = store.extent(logged.pk)
    assert extent is not None
    span = ("--start", extent[0].isoformat(), "--end", "2030-01-01T00:00:00Z")
    path = tmp_path / f"samples{suffix}"
    assert "180 rows" in run("export", logged, "samples", *span, "--output", path)
    if suffix == ".parquet":
        path, written = tmp_path / "samples.csv", pl.read_parquet(path)
        written.write_csv(path, datetime_format="%Y-%m-%dT%H:%M:%S%.fZ")
    upload, _ = receive(logged, "again.csv", path.read_bytes())
    done = take_in(upload.pk)
    assert (done.state, done.rows_accepted) == (UploadState.TAKEN_IN, 180)
    assert (done.cells_differing, done.cells_left_out, done.unknown_columns) == (0, 0, [])


def test_windows_are_exported_with_units(logged: System, tmp_path: Path) -> None:
    features = np.full((2, len(FEATURES)), np.nan)
    features[:, INDEX["subcooling_to_indoor_k"]] = (5.0, 6.0)
    start = np.array(["2026-03-05T00:00", "2026-03-05T00:15"], "datetime64[us]")
    building.keep_windows(logged, Windows(start, features))
    path = tmp_path / "windows.csv"
    run("export", logged, "windows", *SPAN, "--output", path)
    table = pl.read_csv(path)
    assert table.height == 2
    assert table["subcooling_to_indoor_k [K]"].to_list() == [5.0, 6.0]
    assert table.columns[0] == "start"


def test_per_sample_results_are_exported(logged: System, tmp_path: Path) -> None:
    path = tmp_path / "analysis.parquet"
    extent = store.extent(logged.pk)
    assert extent is not None
    span = ("--start", extent[0].isoformat(), "--end", "2030-01-01T00:00:00Z")
    run("export", logged, "analysis", *span, "--output", path)
    assert pl.read_parquet(path).columns[:2] == ["time", "operating_state"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx"])
def test_no_text_becomes_a_formula(text: str) -> None:
    table = export.harmless(pl.DataFrame({text: [1.5], "word": [text], "number": [-1.0]}))
    assert table.columns == [f"'{text}", "word", "number"]
    assert table.row(0) == (1.5, f"'{text}", -1.0)


def test_titles_of_hostile_units_are_made_harmless(logged: System, tmp_path: Path) -> None:
    IndoorUnit.objects.filter(system=logged, slot=0).update(code="=cmd")
    path = tmp_path / "samples.csv"
    extent = store.extent(logged.pk)
    assert extent is not None
    span = ("--start", extent[0].isoformat(), "--end", "2030-01-01T00:00:00Z")
    run("export", logged, "samples", *span, "--output", path)
    titles = path.read_text().splitlines()[0].split(",")
    assert any(title.startswith("'=cmd/") for title in titles)
    assert not any(title.startswith("=") for title in titles)


def test_a_wrong_ending_or_span_is_told(logged: System, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=r"must end in \.csv or \.parquet"):
        run("export", logged, "samples", *SPAN, "--output", tmp_path / "a.txt")
    with pytest.raises(CommandError, match="--end must be later"):
        run("export", logged, "samples", "--start", SPAN[3], "--end", SPAN[1], "--output", "a.csv")
