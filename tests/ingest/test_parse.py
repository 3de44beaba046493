"""Whole files, from bytes to a block and a report."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from diagnostics.channels import INDOOR, OUTDOOR
from diagnostics.units import accepted_units
from fleet.ingest import parse as module
from fleet.ingest import table
from fleet.ingest.parse import parse
from fleet.ingest.plan import Plan
from fleet.ingest.report import RefusedError
from tests.ingest.building import LISBON, PLANT, column, csv, instants, parsed, reasons

T = [f"2026-01-05T14:00:{second:02d}Z" for second in range(60)]


def refused(*lines: str) -> str:
    """Where and why a file is refused."""
    with pytest.raises(RefusedError) as caught:
        parsed(*lines)
    return str(caught.value.complaint)


# What is read


def test_every_channel_is_read_in_its_first_unit() -> None:
    titles, wanted = ["time"], {}
    for channel in OUTDOOR:
        units = accepted_units(channel.quantity)
        titles.append(channel.name + (f" [{units[0]}]" if units else ""))
        wanted[channel.name] = channel
    for channel in INDOOR:
        units = accepted_units(channel.quantity)
        titles.append(f"A-102/{channel.name}" + (f" [{units[0]}]" if units else ""))
        wanted[f"u01_{channel.name}"] = channel
    cells = [T[0]] + ["" for _ in titles[1:]]
    found = parsed(",".join(titles), ",".join(cells))
    assert set(found.columns) == set(wanted)
    assert not found.report.unknown_columns
    assert all(column(found, name) == [None] for name in wanted)


def test_values_are_converted_to_the_units_inside() -> None:
    found = parsed(
        "time,discharge_pressure [bar(a)],A-101/room_temperature [degF],A-101/demand,"
        "A-102/call,reported_state,compressor_speed [Hz],subcooler_valve [pulses]",
        f"{T[0]},30.5,77,1,heat,oil_return,100,120",
    )
    assert column(found, "discharge_pressure") == [3_050_000.0]
    assert column(found, "u00_room_temperature") == [pytest.approx(298.15)]
    assert column(found, "u00_demand") == [1.0]
    assert column(found, "u01_call") == [2.0]
    assert column(found, "reported_state") == [5.0]
    assert column(found, "compressor_speed") == [50.0]
    assert column(found, "subcooler_valve") == [0.25]


def test_rows_are_sorted_by_time_and_keep_their_lines() -> None:
    found = parsed("suction_pressure [kPa(a)],time", f"800,{T[9]}", f"810,{T[3]}", f"820,{T[5]}")
    assert instants(found) == [t[:-1] for t in (T[3], T[5], T[9])]
    assert column(found, "suction_pressure") == [810e3, 820e3, 800e3]
    assert found.lines.tolist() == [3, 4, 2]


def test_numbers_may_be_written_in_any_decimal_way() -> None:
    texts = ["5", "+5", "-5", "5.", ".5", "0.5e1", "50E-1", " 5", "5 ", "\t5", "005.000"]
    rows = [f"{T[n]},{text}" for n, text in enumerate(texts)]
    found = parsed("time,outdoor_air_temperature [degC]", *rows)
    assert not reasons(found)
    assert column(found, "outdoor_air_temperature") == pytest.approx(
        [278.15, 278.15, 268.15, 278.15, 273.65, *[278.15] * 6]
    )


def test_spaces_alone_are_an_empty_cell() -> None:
    found = parsed(
        "time,outdoor_air_temperature [degC],reported_state,A-101/demand",
        f"{T[0]},  ,  ,  ", f"{T[1]},5, off ,1",
    )  # fmt: skip
    assert not reasons(found)
    assert column(found, "outdoor_air_temperature") == [None, pytest.approx(278.15)]
    assert column(found, "reported_state") == [None, 0.0]


def test_spaces_in_titles_are_passed_over() -> None:
    found = parsed(" time , suction_pressure [kPa(a)],suction_temperature[degC]", f"{T[0]},800,5")
    assert set(found.columns) == {"suction_pressure", "suction_temperature"}


def test_files_with_quotes_carriage_returns_or_a_mark_read_alike() -> None:
    plain = csv("time,suction_pressure [kPa(a)],A-101/call", f"{T[0]},800,cool", f"{T[1]},,fan")
    wanted = parse(plain, LISBON)
    quoted = plain.replace(b"cool", b'"cool"').replace(b"time", b'"time"')
    for other in (quoted, plain.replace(b"\n", b"\r\n"), b"\xef\xbb\xbf" + plain, plain[:-1]):
        found = parse(other, LISBON)
        assert found.block.time.tolist() == wanted.block.time.tolist()
        for key, codes in wanted.block.outdoor.items():
            assert found.block.outdoor[key].tolist() == codes.tolist()
        for key, codes in wanted.block.indoor.items():
            assert found.block.indoor[key].tolist() == codes.tolist()


def test_unknown_columns_are_listed_and_the_rest_is_read() -> None:
    found = parsed(
        "time,suction_pressure [kPa(a)],fan speed [rpm],A-999/demand,A-101/mood,,"
        "A-101/suction_pressure [kPa(a)],demand",
        f"{T[0]},800,x,y,z,a,b,c",
    )
    assert found.report.unknown_columns == [
        "fan speed [rpm]", "A-999/demand", "A-101/mood", "column 6 without a name",
        "A-101/suction_pressure [kPa(a)]", "demand",
    ]  # fmt: skip
    assert column(found, "suction_pressure") == [800e3]


# What is left out


def test_bad_cells_are_left_out_counted_and_listed() -> None:
    found = parsed(
        "time,discharge_temperature [degF],A-101/demand,A-101/call,reported_state",
        f"{T[0]},abc,2,COOL,running",
        f"{T[1]},600,0.5,heat,off",
        f"{T[2]},nan,yes,,",
        f"{T[3]},-inf,1.0,fan,",
        f"{T[4]},1e999,0,off,",
        f'{T[5]},"1,5",0,off,',
    )
    assert found.report.rows_accepted == 6
    assert found.report.cells_left_out == 11
    assert (
        reasons(found)
        == [
            'line 2, discharge_temperature [degF]: "abc" is not a number',
            'line 2, A-101/demand: "2" is neither 0 nor 1',
            'line 2, A-101/call: "COOL" is none of off, cool, heat, fan',
            (
                'line 2, reported_state: "running" is none of off, cooling, heating, simultaneous, '
                "defrost, oil_return"
            ),
            (
                'line 3, discharge_temperature [degF]: "600" is outside the physical range, '
                "-40 to 356 degF"
            ),
            'line 3, A-101/demand: "0.5" is neither 0 nor 1',
            'line 4, discharge_temperature [degF]: "nan" is not a number',
            'line 4, A-101/demand: "yes" is neither 0 nor 1',
            'line 5, discharge_temperature [degF]: "-inf" is not a number',
            'line 6, discharge_temperature [degF]: "1e999" is not a number',
            'line 7, discharge_temperature [degF]: "1,5" is not a number',
        ][: len(reasons(found))]
    )
    assert len(reasons(found)) == found.report.cells_left_out
    assert column(found, "u00_demand") == [None, None, None, 1.0, 0.0, 0.0]
    assert column(found, "discharge_temperature") == [None] * 6


def test_absurd_numbers_are_outside_in_every_unit() -> None:
    found = parsed("time,suction_pressure [MPa(g)]", f"{T[0]},1e308", f"{T[1]},-1e308")
    assert found.report.cells_left_out == 2
    assert 'line 2, suction_pressure [MPa(g)]: "1e308" is outside the physical range' in str(
        reasons(found)[0]
    )


def test_bad_rows_are_left_out_counted_and_listed() -> None:
    found = parsed(
        "time,suction_pressure [kPa(a)]",
        f"{T[0]},800",
        ",801",
        "yesterday,802",
        "2026-03-29T01:30:00,803",
        "1970-01-01T00:00:00Z,bad",
        "",
        f"{T[1]}",
        f"{T[2]},804,805",
        f"{T[3]},806",
    )
    assert found.report.rows_accepted == 2
    assert found.report.rows_left_out == 6
    assert found.report.cells_left_out == 0, "cells of rows left out are not judged"
    assert reasons(found) == [
        "line 3, time: the time is missing: row left out",
        'line 4, time: "yesterday" is not a time as RFC 3339 writes it: row left out',
        (
            'line 5, time: "2026-03-29T01:30:00" never was: clocks in Europe/Lisbon skipped it: '
            "row left out"
        ),
        'line 6, time: "1970-01-01T00:00:00Z" is not between the years 2000 and 2099: row left out',
        "line 8: 1 cells where the header has 2: row left out",
        "line 9: 3 cells where the header has 2: row left out",
    ]


def test_the_first_hundred_complaints_are_listed_by_line() -> None:
    rows = [f"2026-01-05T14:{n // 60:02d}:{n % 60:02d}Z,x,y" for n in range(300)]
    found = parsed("time,suction_pressure [kPa(a)],discharge_pressure [kPa(a)]", *rows)
    assert found.report.cells_left_out == 600
    lines = [each.line for each in found.report.complaints()]
    assert lines == [line for line in range(2, 52) for _ in range(2)]


def test_complaints_are_the_same_whatever_the_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [f"2026-01-05T14:{n // 60:02d}:{n % 60:02d}Z,{'x' * (n % 2)},9e9" for n in range(900)]
    lines = ("time,suction_pressure [kPa(a)],discharge_pressure [kPa(a)]", *rows)
    whole = reasons(parsed(*lines))
    monkeypatch.setattr(table, "BATCH_BYTES", 500)
    assert reasons(parsed(*lines)) == whole


CELLS = st.one_of(
    st.just(""),
    st.decimals(-99, 99, places=1).map(str),
    st.sampled_from(["nan", "inf", "-", "1e1", " 20", "20\t", " ", "+7", ".5", "x", "1_0"]),
    st.text("019.-+eE \t_naif", max_size=5),
)


@given(
    rows=st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=12),
    end=st.sampled_from(["\n", "\r\n"]),
    last=st.booleans(),
)
@settings(max_examples=200, deadline=None)
def test_numbers_are_those_their_text_gives(
    rows: list[tuple[str, str, str]], end: str, last: bool
) -> None:
    head = "time,suction_temperature [degC],A-101/demand,A-101/room_temperature [degF]"
    text = end.join([head, *(f"{T[n]},{','.join(row)}" for n, row in enumerate(rows))])
    body = (text + end * last).encode()
    straight = parse(body, LISBON)
    with pytest.MonkeyPatch.context() as patched:
        as_text = lambda columns, **_: Plan(columns, foreign=False, as_text=True)  # noqa: E731
        patched.setattr(module, "Plan", as_text)
        by_text = parse(body, LISBON)
    assert straight.report == by_text.report
    columns, codes = straight.block.table()
    other_columns, other_codes = by_text.block.table()
    assert columns == other_columns
    assert (codes == other_codes).all()


def test_times_written_in_different_ways_are_read_as_alone() -> None:
    rows = [f"{T[0]},1", "2026-02-30T00:00:00Z,2", "1970-01-01T00:00:00Z,3"]
    plain = parsed("time,suction_temperature [degC]", *rows)
    mixed = parsed("time,suction_temperature [degC]", *rows, "2026-01-05t15:00:00z,4")
    assert reasons(plain) == reasons(mixed) != []
    assert instants(mixed) == [*instants(plain), "2026-01-05T15:00:00"]


# Rows of one instant


def test_rows_of_one_instant_are_merged_cell_by_cell() -> None:
    found = parsed(
        "time,suction_pressure [kPa(a)],A-101/room_temperature [degC],A-101/call",
        f"{T[0]},,21,",
        "2026-01-05T14:00:00,800,22,heat",
        "2026-01-05T15:00:00+01:00,800,21,cool",
        f"{T[5]},810,23,off",
    )
    assert instants(found) == [T[0][:-1], T[5][:-1]]
    assert column(found, "suction_pressure") == [800e3, 810e3]
    assert column(found, "u00_room_temperature") == pytest.approx([294.15, 296.15])
    assert column(found, "u00_call") == [2.0, 0.0]
    assert found.report.rows_accepted == 4
    assert found.report.cells_differing == 2
    assert reasons(found) == [
        (
            "line 3, A-101/room_temperature [degC]: 22 degC differs from 21 degC in line 2, "
            "which has the same time: the first is kept"
        ),
        (
            "line 4, A-101/call: cool differs from heat in line 3, which has the same time: "
            "the first is kept"
        ),
    ]


# What is refused whole


def test_a_file_without_time_is_refused() -> None:
    assert refused("suction_pressure [kPa(a)]", "1") == (
        'line 1: no column is called "time": name the column of time stamps so'
    )
    assert refused("Time,suction_pressure [kPa(a)]", f"{T[0]},1").startswith(
        'line 1: no column is called "time"'
    )
    assert refused("time;suction_pressure [kPa(a)]", f"{T[0]};1") == (
        'line 1: no column is called "time": cells are to be separated by commas (RFC 4180)'
    )


def test_a_file_without_a_known_channel_is_refused() -> None:
    assert refused("time,mood", f"{T[0]},good") == (
        "line 1: no column holds a known channel: titles look like discharge_pressure [kPa(g)] or "
        "A-101/room_temperature [degC], with the codes of the manifest"
    )


@pytest.mark.parametrize(
    ("title", "reason"),
    [
        (
            "discharge_pressure [kPa]",
            (
                "[kPa] does not say whether the pressure is gauge or absolute: write kPa(g) or "
                "kPa(a); accepted: kPa(a), kPa(g), bar(a), bar(g), MPa(a), MPa(g), psia, psig"
            ),
        ),
        (
            "suction_pressure [psi]",
            (
                "[psi] does not say whether the pressure is gauge or absolute: write psig or psia; "
                "accepted: kPa(a), kPa(g), bar(a), bar(g), MPa(a), MPa(g), psia, psig"
            ),
        ),
        (
            "A-101/room_temperature [C]",
            "unknown unit [C]; accepted: degC, degF, K",
        ),
        (
            "outdoor_valve",
            "the unit is missing: write it as outdoor_valve [pulses]; accepted: pulses, %",
        ),
        ("reported_state [-]", "stands without a unit, the file says [-]: remove the unit"),
    ],
)
def test_a_unit_that_cannot_be_read_refuses_the_file(title: str, reason: str) -> None:
    assert refused(f"time,{title}", f"{T[0]},1") == f"line 1, {title}: {reason}"


def test_hertz_needs_the_pole_pairs_of_the_manifest() -> None:
    without = dataclasses.replace(LISBON, plant=dataclasses.replace(PLANT, motor_pole_pairs=None))
    with pytest.raises(RefusedError, match="set motor_pole_pairs in the manifest"):
        parse(csv("time,compressor_speed [Hz]", f"{T[0]},50"), without)


def test_a_channel_twice_is_refused() -> None:
    assert refused(
        "time,suction_pressure [kPa(a)],outdoor_valve [%],suction_pressure [bar(a)]",
        f"{T[0]},1,2,3",
    ) == (
        "line 1, suction_pressure [bar(a)]: columns 2 and 4 hold the same channel: keep one"
    )  # fmt: skip
    assert refused("time,A-101/demand,time", f"{T[0]},1,{T[0]}") == (
        "line 1, time: the column stands twice: keep one"
    )


def test_unknown_columns_may_come_twice() -> None:
    assert parsed("time,x,x,A-101/demand", f"{T[0]},1,2,1").report.unknown_columns == ["x", "x"]


def test_a_file_without_a_valid_row_is_refused() -> None:
    assert refused("time,A-101/demand") == "no row is valid: only the header is there"
    assert refused("time,A-101/demand", "never,1", ",0") == (
        'line 2: no row is valid; first: "never" is not a time as RFC 3339 writes it: row left out'
    )


def test_a_file_over_too_many_weeks_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MAX_WEEKS", 2)
    rows = [f"2026-01-{day:02d}T00:00:00Z,1" for day in (1, 8, 15)]
    assert refused("time,A-101/demand", *rows) == (
        "the rows lie in 3 different weeks, the limit is 2: split the file, or look whether the "
        "logger's clock is right"
    )


@given(text=st.text(max_size=12))
@settings(max_examples=200, deadline=None)
def test_no_text_in_a_cell_can_break_the_reading(text: str) -> None:
    assume("\x00" not in text and not any(0xD800 <= ord(c) < 0xE000 for c in text))
    quoted = '"' + text.replace('"', '""') + '"'
    found = parsed("time,A-101/demand,suction_pressure [kPa(a)]", f"{T[0]},1,{quoted}")
    assert found.report.rows_accepted == 1
    assert column(found, "u00_demand") == [1.0]
