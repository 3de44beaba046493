"""Merging and reading samples, on the real database."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.channels import EMPTY, INDOOR, INDOOR_BY_NAME, OUTDOOR, OUTDOOR_BY_NAME
from fleet.models import System
from fleet.timeseries import store
from fleet.timeseries.columns import INDOOR_COLUMNS, OUTDOOR_COLUMNS
from fleet.timeseries.store import Block
from tests.ingest.building import dump, registered

pytestmark = pytest.mark.django_db

START = np.datetime64("2026-01-04T23:59:00", "us")
EARLY, LATE = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)


def block(
    seconds: list[int], outdoor: dict[str, list[int]], indoor: dict[Any, list[int]] | None = None
) -> Block:
    """A block; seconds count from the last minute of a week."""
    return Block(
        START + np.array(seconds, "timedelta64[s]"),
        {name: np.array(codes, np.int16) for name, codes in outdoor.items()},
        {key: np.array(codes, np.int16) for key, codes in (indoor or {}).items()},
    )


def codes(system: System, name: str) -> dict[int, int]:
    """Stored codes of an outdoor channel by seconds; empty cells left away."""
    samples = store.read(system, EARLY, LATE)
    seconds = ((samples.time - START) / np.timedelta64(1, "s")).astype(int)
    stored = OUTDOOR_BY_NAME[name].encode(samples.outdoor_or_nan(name))
    return {int(s): int(c) for s, c in zip(seconds, stored, strict=True) if c != EMPTY}


def test_what_was_merged_is_read_back_in_the_units_inside() -> None:
    system = registered()
    half_open = int(INDOOR_BY_NAME["valve"].encode(np.array([0.5]))[0])
    store.merge(
        system.id,
        block(
            [0, 10, 70],
            {"discharge_pressure": [0, 1, EMPTY], "reported_state": [2, 2, 1]},
            {(1, "valve"): [half_open, EMPTY, 0]},
        ),
    )
    samples = store.read(system, EARLY, LATE)
    assert samples.time.tolist() == (START + np.array([0, 10, 70], "m8[s]")).tolist()
    assert samples.outdoor["discharge_pressure"][:2].tolist() == [3_200_000.0, 3_200_100.0]
    assert np.isnan(samples.outdoor["discharge_pressure"][2])
    assert samples.outdoor["reported_state"].tolist() == [2.0, 2.0, 1.0]
    assert samples.indoor["valve"].shape == (2, 3)
    assert np.isnan(samples.indoor["valve"][0]).all()
    assert samples.indoor["valve"][1, ::2].tolist() == [0.5, 0.0]
    assert "suction_pressure" not in samples.outdoor
    assert "demand" not in samples.indoor


@pytest.mark.parametrize("asked", [(), ("demand",), ("valve", "demand")])
def test_only_the_indoor_channels_asked_for_are_read(asked: tuple[str, ...]) -> None:
    system = registered()
    store.merge(
        system.id,
        block([0, 10], {"suction_pressure": [1, 2]}, {(0, "valve"): [7, 8], (1, "demand"): [0, 1]}),
    )
    whole, some = store.read(system, EARLY, LATE), store.read(system, EARLY, LATE, indoor=asked)
    assert set(whole.indoor) == {"valve", "demand"}
    assert set(some.indoor) == set(asked)
    for name in asked:
        np.testing.assert_array_equal(some.indoor[name], whole.indoor[name])
    np.testing.assert_array_equal(
        some.outdoor["suction_pressure"], whole.outdoor["suction_pressure"]
    )


def test_a_span_holds_its_start_and_not_its_end() -> None:
    system = registered()
    store.merge(system.id, block([0, 10, 20], {"suction_pressure": [1, 2, 3]}))
    start = datetime(2026, 1, 4, 23, 59, tzinfo=UTC)
    samples = store.read(system, start + timedelta(seconds=10), start + timedelta(seconds=20))
    assert samples.time.tolist() == [datetime(2026, 1, 4, 23, 59, 10)]  # noqa: DTZ001


def test_reading_nothing_gives_empty_arrays() -> None:
    samples = store.read(registered(), EARLY, LATE)
    assert len(samples) == 0
    assert not samples.outdoor
    assert not samples.indoor


def test_a_merge_counts_what_it_did() -> None:
    system = registered()
    first = store.merge(
        system.id, block([0, 10], {"suction_pressure": [5, EMPTY], "outdoor_valve": [7, 8]})
    )
    assert (first.rows_new, first.cells_filled, first.cells_differing) == (2, 0, 0)
    assert first.changed_days == {date(2026, 1, 4)}
    second = store.merge(
        system.id, block([0, 10, 60], {"suction_pressure": [6, 9, 1], "outdoor_valve": [7, 8, 9]})
    )
    assert (second.rows_new, second.cells_filled, second.cells_differing) == (1, 1, 1)
    assert second.cells_replaced == 0
    assert second.changed_days == {date(2026, 1, 4), date(2026, 1, 5)}
    listed = second.differing[0]
    assert (listed.column, listed.stored, listed.given) == ("suction_pressure", 5, 6)
    assert listed.time == datetime(2026, 1, 4, 23, 59, tzinfo=UTC)
    assert codes(system, "suction_pressure") == {0: 5, 10: 9, 60: 1}


def test_the_same_block_again_changes_nothing() -> None:
    system = registered()
    same = block([0, 10], {"suction_pressure": [5, EMPTY]})
    store.merge(system.id, same)
    again = store.merge(system.id, same)
    assert again == store.Merged()


def test_replacing_overwrites_what_differs_and_leaves_what_is_not_given() -> None:
    system = registered()
    store.merge(system.id, block([0, 10, 20], {"suction_pressure": [1, 2, 3]}))
    done = store.merge(
        system.id, block([0, 10, 20], {"suction_pressure": [7, EMPTY, 3]}), replace=True
    )
    assert (done.cells_differing, done.cells_replaced, done.cells_filled) == (1, 1, 0)
    assert codes(system, "suction_pressure") == {0: 7, 10: 2, 20: 3}


def test_a_row_without_any_value_is_still_an_instant() -> None:
    system = registered()
    done = store.merge(system.id, block([0, 10], {"suction_pressure": [EMPTY, EMPTY]}))
    assert done.rows_new == 2
    assert len(store.read(system, EARLY, LATE)) == 2


def test_an_empty_block_does_nothing() -> None:
    assert store.merge(registered().id, block([], {})) == store.Merged()


def test_only_the_first_hundred_differences_are_listed() -> None:
    system = registered()
    many = list(range(0, 1500, 10))
    store.merge(system.id, block(many, {"suction_pressure": [1] * 150}))
    done = store.merge(system.id, block(many, {"suction_pressure": [2] * 150}))
    assert done.cells_differing == 150
    assert len(done.differing) == 100
    assert [each.time for each in done.differing] == sorted(each.time for each in done.differing)


def test_systems_do_not_touch_each_other() -> None:
    system = registered()
    other = System.objects.get(pk=system.pk)
    other.pk, other.code = None, "R2"
    other.save()
    store.merge(system.id, block([0], {"suction_pressure": [1]}))
    store.merge(other.id, block([0], {"suction_pressure": [2]}))
    assert codes(system, "suction_pressure") == {0: 1}
    assert codes(other, "suction_pressure") == {0: 2}


def test_rows_of_a_retired_unit_are_kept_and_not_read() -> None:
    system = registered()
    store.merge(system.id, block([0], {}, {(0, "setpoint"): [2100], (1, "setpoint"): [2200]}))
    system.indoor_units.filter(slot=0).update(retired=True)
    without = store.read(System.objects.get(pk=system.pk), EARLY, LATE)
    assert without.indoor["setpoint"].tolist() == [[pytest.approx(295.15)]]
    system.indoor_units.filter(slot=0).update(retired=False)
    again = store.read(System.objects.get(pk=system.pk), EARLY, LATE)
    assert again.indoor["setpoint"].shape == (2, 1)


def test_extent_and_days_follow_the_samples() -> None:
    system = registered()
    assert store.extent(system.id) is None
    assert store.days(system.id) == set()
    store.merge(system.id, block([0, 120], {"suction_pressure": [1, 2]}))
    store.merge(system.id, block([-3600, 86_400], {"suction_pressure": [1, 2]}))
    first = datetime(2026, 1, 4, 22, 59, tzinfo=UTC)
    assert store.extent(system.id) == (first, datetime(2026, 1, 5, 23, 59, tzinfo=UTC))
    assert store.days(system.id) == {date(2026, 1, 4), date(2026, 1, 5)}
    asked = [date(2026, 1, 5), date(2026, 1, 6)]
    assert store.days(system.id, among=asked) == {date(2026, 1, 5)}


def test_a_block_must_ascend_and_have_equal_lengths() -> None:
    with pytest.raises(store.BlockError, match="strictly ascending: sort it and merge repeats"):
        block([0, 0], {})
    with pytest.raises(store.BlockError, match=r"setpoint.*shape \(1,\), time has \(2,\)"):
        block([0, 10], {}, {(0, "setpoint"): [1]})


def test_the_table_has_a_column_for_every_channel() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM samples LIMIT 0")
        found = {each.name for each in cursor.description}
    assert found == {"system_id", "ts", *OUTDOOR_COLUMNS, *INDOOR_COLUMNS}
    assert len(found) == 2 + len(OUTDOOR) + 64 * len(INDOOR)


def test_pieces_for_the_coming_weeks_are_made_ahead() -> None:
    if store.backend() != "partitions":
        pytest.skip("TimescaleDB makes its chunks by itself")
    now = datetime(2031, 5, 14, 12, tzinfo=UTC)
    store.prepare(now)
    store.prepare(now)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_class WHERE relname = ANY(%s)",
            [[f"samples_{d}" for d in ("20310512", "20310519", "20310526", "20310602")]],
        )
        assert cursor.fetchone()[0] == 4


def test_a_merge_rolled_back_leaves_nothing() -> None:
    system = registered()
    with transaction.atomic():
        store.merge(system.id, block([0], {"suction_pressure": [1]}))
        transaction.set_rollback(True)
    assert store.extent(system.id) is None
    assert len(store.read(system, EARLY, LATE)) == 0


# Truth: one value a cell, or none; a block is a part of it, by rows and by columns.
NAMES = ("suction_pressure", "outdoor_valve")
KEYS = ((0, "setpoint"), (1, "call"))
TIMES = (0, 10, 50, 59, 60, 70, 86_460)
cell = st.one_of(st.just(int(EMPTY)), st.integers(0, 2))
truths = st.fixed_dictionaries(
    {key: st.lists(cell, min_size=len(TIMES), max_size=len(TIMES)) for key in (*NAMES, *KEYS)}
)
parts = st.lists(
    st.tuples(
        st.sets(st.sampled_from(range(len(TIMES)))),
        st.sets(st.sampled_from((*NAMES, *KEYS))),
        st.sets(st.sampled_from(range(len(TIMES)))),
    ),
    max_size=5,
)


def part_of(truth: Any, rows: set[int], columns: set[Any], blanked: set[int]) -> Block:
    """Some rows and columns of the truth; cells of some rows are not given."""
    kept = sorted(rows)
    given_codes = {
        key: [int(EMPTY) if row in blanked else truth[key][row] for row in kept] for key in columns
    }
    return block(
        [TIMES[row] for row in kept],
        {key: given_codes[key] for key in NAMES if key in columns},
        {key: given_codes[key] for key in KEYS if key in columns},
    )


@given(truth=truths, pieces=parts, seed=st.randoms(use_true_random=False))
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_order_split_and_repetition_gives_the_same_samples(
    truth: Any, pieces: Any, seed: Any
) -> None:
    everything = (set(range(len(TIMES))), {*NAMES, *KEYS}, set())
    outcomes = []
    for order in ([everything], [*pieces, everything], [everything, *pieces]):
        shuffled = [*order, *seed.sample(order, len(order))] if len(order) > 1 else order
        seed.shuffle(shuffled)
        with transaction.atomic():
            system = registered()
            differing = 0
            for piece in shuffled:
                differing += store.merge(system.id, part_of(truth, *piece)).cells_differing
            assert differing == 0
            outcomes.append((dump(system), store.extent(system.id), store.days(system.id)))
            transaction.set_rollback(True)
    assert outcomes[0] == outcomes[1] == outcomes[2]


@given(first=truths, second=truths, replace=st.booleans())
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_contradictions_follow_the_rule_cell_by_cell(
    first: Any, second: Any, replace: bool
) -> None:
    rows, columns = set(range(len(TIMES))), {*NAMES, *KEYS}
    expected: dict[Any, list[int]] = {}
    filled = differing = 0
    for key in columns:
        expected[key] = []
        for old, new in zip(first[key], second[key], strict=True):
            filled += old == EMPTY != new
            differing += EMPTY not in (old, new) and old != new
            keeps = new == EMPTY or (old != EMPTY and not replace)
            expected[key].append(old if keeps else new)
    with transaction.atomic():
        system = registered()
        store.merge(system.id, part_of(first, rows, columns, set()))
        done = store.merge(system.id, part_of(second, rows, columns, set()), replace=replace)
        found = dump(system)
        store.merge(other_system(system).id, part_of(expected, rows, columns, set()))
        wanted = dump(other_system(system))
        transaction.set_rollback(True)
    assert found == wanted
    assert (done.cells_filled, done.cells_differing) == (filled, differing)
    assert done.cells_replaced == (differing if replace else 0)


def other_system(system: System) -> System:
    """A second system of the same build."""
    found = System.objects.filter(site=system.site, code="R9").first()
    if found is None:
        units = list(system.indoor_units.all())
        found = System.objects.get(pk=system.pk)
        found.pk, found.code = None, "R9"
        found.save()
        for unit in units:
            unit.pk, unit.system = None, found
            unit.save()
    return found
