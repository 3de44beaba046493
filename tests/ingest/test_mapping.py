"""Logs that other loggers wrote: looked at, proposed for, and taken in as they are."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME
from fleet.ingest import mapping, proposal, sniff
from fleet.ingest.manifest import register
from fleet.ingest.mapping import Layout, Meaning, Time
from fleet.ingest.parse import Parsed, parse
from fleet.ingest.proposal import Proposal, Room
from fleet.ingest.receive import receive
from fleet.ingest.report import RefusedError
from fleet.ingest.take_in import take_in
from fleet.models import LogMapping, System, UploadState
from tests.ingest.building import LISBON, MANIFEST, registered

ROOMS = (Room("A-101", "Ticket office", 1), Room("A-102", "", 2))
START = datetime(2026, 3, 13, 23, 50)  # noqa: DTZ001 (a logger's own clock)
TITLES = (
    "Date",
    "Time",
    "Comp. freq [Hz]",
    "High press. (bar)",
    "Low press. (bar)",
    "Td discharge temp °C",
    "Outdoor ambient temp °C",
    "Ticket office room temp",
    "A-101 thermo",
    "Unit 2 set temp",
    "Serial",
)


def foreign(rows: int = 60) -> bytes:
    """A log with everything unlike ours: preamble, semicolons, decimal commas, Windows text."""
    lines = ["Logger 7;;", "", ";".join(TITLES)]
    for i in range(rows):
        at = START + timedelta(minutes=i)
        cells = (
            f"{at:%d.%m.%Y}",
            f"{at:%H:%M:%S}",
            f"{80 + i % 10},0",
            f"{23 + i / 30:.2f}".replace(".", ","),
            f"{7.5 + i / 60:.2f}".replace(".", ","),
            f"{70 + i / 10:.1f}".replace(".", ","),
            f"{28 + i / 60:.1f}".replace(".", ","),
            f"{215 + i}",
            ("ON", "OFF")[i % 2],
            "22,5",
            "4711",
        )
        lines.append(";".join(cells))
    return ("\r\n".join(lines) + "\r\n").encode("cp1252")


def proposed(plain: bytes) -> dict[str, Proposal]:
    found = proposal.propose(sniff.look(plain), LISBON, ROOMS)
    return {it.title: it for it in found}


def read(plain: bytes) -> Parsed:
    look = sniff.look(plain)
    layout = proposal.layout_of(look, proposal.propose(look, LISBON, ROOMS))
    return parse(plain, LISBON, [layout])


def test_separator_preamble_decimals_encoding_and_time_are_seen() -> None:
    layout = sniff.look(foreign()).layout
    assert (layout.separator, layout.skipped, layout.decimal) == (";", 2, ",")
    assert layout.encoding == "cp1252"
    assert layout.titles == TITLES
    assert layout.time == Time(("Date", "Time"), "%d.%m.%Y %H:%M:%S")


def test_titles_and_values_give_channels_and_units_with_reasons() -> None:
    found = proposed(foreign())
    assert {title: it.meant for title, it in found.items()} == {
        "Comp. freq [Hz]": "compressor_speed [Hz]",
        "High press. (bar)": "discharge_pressure [bar(g)]",
        "Low press. (bar)": "suction_pressure [bar(g)]",
        "Td discharge temp °C": "discharge_temperature [degC]",
        "Outdoor ambient temp °C": "outdoor_air_temperature [degC]",
        "Ticket office room temp": "A-101/room_temperature [degC]",
        "A-101 thermo": "A-101/demand",
        "Unit 2 set temp": "A-102/setpoint [degC]",
        "Serial": "",
    }
    assert found["Ticket office room temp"].scale == 0.1
    assert "the title names the room of A-101, Ticket office" in (
        found["Ticket office room temp"].reasons
    )
    assert any("whether gauge or absolute" in it for it in found["High press. (bar)"].reasons)
    assert "the title counts to 2: A-102 by order" in found["Unit 2 set temp"].reasons


GERMAN = {
    "Verdichterdrehzahl [U/min]": ("3600", "compressor_speed [rpm]"),
    "HD [bar]": ("24,5", "discharge_pressure [bar(g)]"),
    "Saugdruck (bar)": ("8,1", "suction_pressure [bar(g)]"),
    "Heißgastemperatur °C": ("78,0", "discharge_temperature [degC]"),
    "Temperatur Sauggas °C": ("12,0", "suction_temperature [degC]"),
    "T Fl. außen °C": ("38,0", "liquid_temperature_outdoor_side [degC]"),
    "T Fl. innen °C": ("27,0", "liquid_temperature_indoor_side [degC]"),
    "Unterkühlerventil [Impulse]": ("120", "subcooler_valve [pulses]"),
    "Außentemperatur °C": ("29,0", "outdoor_air_temperature [degC]"),
    "Innengerät 2 Raumtemperatur °C": ("22,5", "A-102/room_temperature [degC]"),
    "Innengerät 2 Sollwert °C": ("22,0", "A-102/setpoint [degC]"),
    "Drehzahl Lüfter": ("900", ""),
}


def test_german_titles_are_read_as_well() -> None:
    lines = [";".join(["Zeit", *GERMAN])]
    for i in range(40):
        at = START + timedelta(minutes=i)
        lines.append(";".join([f"{at:%d.%m.%Y %H:%M:%S}", *(cell for cell, _ in GERMAN.values())]))
    found = proposed("\n".join([*lines, ""]).encode())
    assert {title: it.meant for title, it in found.items()} == {
        title: meant for title, (_, meant) in GERMAN.items()
    }


def test_values_come_in_as_if_written_in_our_form() -> None:
    parsed = read(foreign())
    block = parsed.block
    assert parsed.report.rows_accepted == 60
    assert parsed.report.cells_left_out == 0
    assert parsed.report.unknown_columns == ["Serial"]
    # 23:50 in Lisbon in March is 23:50 UTC.
    assert block.time[0] == np.datetime64("2026-03-13T23:50:00")
    room = INDOOR_BY_NAME["room_temperature"].decode(block.indoor[0, "room_temperature"])
    assert room[5] == pytest.approx(22.0 + 273.15, abs=0.006)
    demand = INDOOR_BY_NAME["demand"].decode(block.indoor[0, "demand"])
    assert demand[:3].tolist() == [1.0, 0.0, 1.0]
    pressure = OUTDOOR_BY_NAME["discharge_pressure"].decode(block.outdoor["discharge_pressure"])
    assert pressure[30] == pytest.approx(24e5 + LISBON.plant.atmospheric_pressure_pa, abs=60.0)
    speed = OUTDOOR_BY_NAME["compressor_speed"].decode(block.outdoor["compressor_speed"])
    assert speed[0] == pytest.approx(40.0)  # 80 Hz, two pole pairs


def test_complaints_speak_of_the_files_own_lines_titles_and_numbers() -> None:
    lines = foreign().decode("cp1252").split("\r\n")
    lines[10] = lines[10].replace("4711", "4711;extra")
    lines[12] = lines[12].replace("22,5", "99,5")
    parsed = read("\r\n".join(lines).encode("cp1252"))
    said = [str(it) for it in parsed.report.complaints()]
    assert said[0] == "line 11: 12 cells where the header has 11: row left out"
    assert said[1].startswith('line 13, Unit 2 set temp: "99.5" is outside the physical range')


def test_a_file_with_other_titles_is_not_read_by_the_layout() -> None:
    look = sniff.look(foreign())
    layout = proposal.layout_of(look, proposal.propose(look, LISBON, ROOMS))
    ours = b"time,compressor_speed [rps]\n2026-03-13T00:00:00Z,50\n"
    assert parse(ours, LISBON, [layout]).report.rows_accepted == 1
    other = foreign().replace(b"Serial", b"Number").decode("cp1252").encode()
    with pytest.raises(RefusedError, match='no column is called "time"'):
        parse(other, LISBON, [layout])


def test_two_columns_never_become_one_channel() -> None:
    plain = b"time,High press bar,Discharge pressure [bar(g)]\n" + b"".join(
        f"2026-03-13T00:{i:02}:00Z,{20 + i / 10},{21 + i / 10}\n".encode() for i in range(30)
    )
    found = proposed(plain)
    assert found["Discharge pressure [bar(g)]"].meant == "discharge_pressure [bar(g)]"
    assert found["High press bar"].meant == ""
    assert "fits discharge_pressure better" in found["High press bar"].reasons[0]


def test_meaningless_titles_get_no_proposal() -> None:
    plain = b"time,CH01,CH02\n" + b"".join(
        f"2026-03-13T00:{i:02}:00Z,{20 + i / 10},{40 - i / 10}\n".encode() for i in range(30)
    )
    found = proposed(plain)
    assert [it.meant for it in found.values()] == ["", ""]
    assert "do not tell one pipe from another" in found["CH01"].reasons[0]


def test_values_no_such_channel_has_keep_a_title_from_being_believed() -> None:
    plain = b"time,Room temp A-101 degC\n" + b"".join(
        f"2026-03-13T00:{i:02}:00Z,{9000 + i}\n".encode() for i in range(30)
    )
    assert proposed(plain)["Room temp A-101 degC"].meant == ""


def test_our_own_form_is_proposed_as_it_is() -> None:
    titles = ["time", "discharge_pressure [kPa(a)]", "A-101/gas_pipe_temperature [degF]"]
    plain = (",".join(titles) + "\n").encode() + b"".join(
        f"2026-03-13T00:{i:02}:00Z,{2400 + i},{50 + i / 10}\n".encode() for i in range(30)
    )
    found = proposed(plain)
    assert [it.meant for it in found.values()] == titles[1:]
    assert {it.scale for it in found.values()} == {1.0}


@pytest.mark.parametrize(
    ("texts", "form"),
    [
        (["3/4/2026 00:00:00", "3/4/2026 00:05:00", "3/4/2026 00:10:00"], None),
        (["31/3/2026 23:55:00", "1/4/2026 00:00:00", "1/4/2026 00:05:00"], "%d/%m/%Y %H:%M:%S"),
        (["3/31/2026 23:55:00", "4/1/2026 00:00:00", "4/1/2026 00:05:00"], "%m/%d/%Y %H:%M:%S"),
        (["3/4/2026 23:50", "3/4/2026 23:55", "4/4/2026 00:00"], "%d/%m/%Y %H:%M"),
        (["3/3/2026 11:50:00 PM", "3/3/2026 11:55:00 PM"], "%m/%d/%Y %I:%M:%S %p"),
        (["1773360000", "1773360300", "1773360600"], "epoch_s"),
        (["1773360000000", "1773360300000", "1773360600000"], "epoch_ms"),
        (["46094.25", "46094.2534722", "46094.2569444"], "sheet_days"),
        (["2026-03-13T00:00:00+01:00", "2026-03-13T00:05:00+01:00"], "rfc3339"),
    ],
)
def test_forms_of_time_are_told_apart_by_even_steps(texts: list[str], form: str | None) -> None:
    found = sniff.find_time([pl.Series("when", texts)])
    assert found.titles == ("when",)
    if form is not None:
        assert found.form == form


def test_a_spreadsheets_days_are_local_time() -> None:
    layout = Layout(time=Time(("a",), "sheet_days"), titles=("a",))
    # 46094.25 is 06:00 on 13 March 2026: spreadsheets call 1 January 2000 day 36526.
    assert layout.times([pl.Series(["46094.25"])])[0] == "2026-03-13T06:00:00.000000"


def test_utc_times_and_unreadable_ones() -> None:
    layout = Layout(time=Time(("a",), "%d.%m.%Y %H:%M", utc=True), titles=("a",))
    read_ = layout.times([pl.Series(["13.03.2026 06:00", "noon"])]).to_list()
    assert read_ == ["2026-03-13T06:00:00.000000Z", "noon"]


def test_a_file_that_is_no_table_is_refused() -> None:
    for plain in (b"", b"hello\nworld\n", b"1,2\n3,4\n"):
        with pytest.raises(RefusedError, match=r"no (table|header) was found"):
            sniff.look(plain)


@given(st.lists(st.text("ab", max_size=2), min_size=1, max_size=8))
def test_unique_titles_are_unique_or_say_so(titles: list[str]) -> None:
    named = mapping.unique(titles)
    assert len(named) == len(titles)
    assert all(named)
    plain = [name for name in named if "(" not in name]
    assert len(set(plain)) == len(plain)


def test_a_layout_survives_storage() -> None:
    look = sniff.look(foreign())
    layout = proposal.layout_of(look, proposal.propose(look, LISBON, ROOMS))
    assert Layout.from_json(layout.as_json()) == layout


def test_clocks_of_the_site_apply_to_foreign_times() -> None:
    summer = foreign().replace(b".03.2026", b".07.2026")
    assert read(summer).block.time[0] == np.datetime64("2026-07-13T22:50:00")
    assert ZoneInfo("Europe/Lisbon") == LISBON.zone


@pytest.fixture
def system(db: None) -> System:
    return registered()


def put_mapping(system: System, *, in_use: bool) -> LogMapping:
    look = sniff.look(foreign())
    layout = proposal.layout_of(look, proposal.propose(look, LISBON, ROOMS))
    return LogMapping.objects.create(
        site=system.site,
        system=system,
        name="a.csv",
        sample=b"",
        layout=layout.as_json(),
        in_use=in_use,
    )


def test_from_then_on_such_files_are_taken_in_as_they_are(system: System) -> None:
    stored = put_mapping(system, in_use=False)
    refused, _ = receive(system, "a.csv", foreign())
    assert take_in(refused.pk).state == UploadState.REFUSED
    stored.in_use = True
    stored.save()
    again, _ = receive(system, "b.csv", foreign(61))
    done = take_in(again.pk)
    assert (done.state, done.rows_accepted) == (UploadState.TAKEN_IN, 61)
    assert done.unknown_columns == ["Serial"]


def test_another_sites_mapping_is_not_used(system: System) -> None:
    other = registered_elsewhere()
    put_mapping(system, in_use=True)
    upload, _ = receive(other, "a.csv", foreign())
    assert take_in(upload.pk).state == UploadState.REFUSED


def registered_elsewhere() -> System:
    text = MANIFEST.replace('code = "ferry-hall"', 'code = "mill-lane"')
    return register(text).systems.get()


def test_a_unit_that_cannot_be_is_refused_with_the_title() -> None:
    look = sniff.look(foreign())
    layout = replace(
        look.layout, columns={"High press. (bar)": Meaning("discharge_pressure [bar]")}
    )
    with pytest.raises(RefusedError, match=r"bar\(g\) or bar\(a\)"):
        parse(foreign(), LISBON, [layout])
