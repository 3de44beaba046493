"""What is kept of each day saves work and never changes a result."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics import episodes, verdict
from diagnostics.weighing import weigh
from diagnostics.windows import INDEX, WINDOW_S, Windows
from fleet.analysis import course, standing, window_rows
from fleet.analysis.record import Record
from fleet.models import PooledDay, Standing, System
from tests.analysis.building import FIRST_DAY, keep_windows, registered
from tests.diagnostics.rows import joined, windows

pytestmark = pytest.mark.django_db

PER_DAY = 8
"""Windows of a day here: enough to be judged by, few enough to be fast."""

SICK = {"subcooling_to_indoor_k": 14.0, "discharge_superheat_k": 12.0, "suction_superheat_k": 0.5}
LOW = {"subcooling_to_indoor_k": 0.5, "saturated_share": 0.8, "suction_superheat_k": 15.0}
IDLE = dict.fromkeys(("running_s", "judged_s", "to_indoor_s", "loaded_s", "cooling_s"), 0.0)
LOOKS: dict[str, dict[str, float]] = {"well": {}, "sick": SICK, "low": LOW, "idle": IDLE}


def a_day(number: int, look: str, seed: int) -> Windows:
    """Windows of one day, noise and all."""
    made = windows(PER_DAY, 96 * number + 30, **LOOKS[look])
    features = made.features.copy()
    rng = np.random.default_rng((number, seed))
    for name in ("subcooling_to_indoor_k", "air_to_indoor_k", "discharge_superheat_k"):
        features[:, INDEX[name]] += rng.normal(0, 0.4, PER_DAY)
    return Windows(made.start, features)


def of_everything(system: System) -> tuple[object, dict[str, object]]:
    """Episodes and verdict from all windows at once."""
    known, plant = window_rows.load(system.pk), system.plant()
    end = known.start[-1] + np.timedelta64(WINDOW_S, "s")
    return episodes.episodes(known, plant), verdict.judge(known, plant, end).as_json()


def as_kept(system: System) -> tuple[object, dict[str, object]]:
    """Episodes and verdict as the stored days have them."""
    record = Record.of(system, weigh.table())
    last = record.last_window()
    assert last is not None
    return course.episodes(record), record.judge(last).as_json()


@given(
    first=st.lists(
        st.sampled_from(["well", "well", "sick", "low", "idle"]), min_size=1, max_size=20
    ),
    later=st.lists(
        st.tuples(st.integers(0, 24), st.sampled_from([*LOOKS, "gone"]), st.integers(0, 9)),
        max_size=4,
    ),
)
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_days_followed_one_by_one_come_to_what_all_windows_come_to(
    first: list[str], later: list[tuple[int, str, int]]
) -> None:
    system = registered(code=f"R{System.objects.count()}", site="ferry-hall")
    settled = ["well"] * 12 + first
    keep_windows(system, joined(*(a_day(i, look, 0) for i, look in enumerate(settled))))
    assert as_kept(system) == of_everything(system)
    for number, look, seed in later:
        if look == "gone":
            window_rows.replace_day(system.pk, FIRST_DAY + timedelta(number), windows(0))
        else:
            keep_windows(system, a_day(number, look, seed))
        assert as_kept(system) == of_everything(system)
    system.delete()


def test_a_settled_system_has_the_standing_of_all_its_windows() -> None:
    system = registered()
    keep_windows(system, joined(*(a_day(i, "well", 0) for i in range(40))))
    standing.refresh(system.pk)
    for number in (40, 41, 20):
        keep_windows(system, a_day(number, "sick", 1))
        standing.refresh(system.pk)
    _, judged = of_everything(system)
    stored = Standing.objects.get(system=system)
    assert stored.verdict["conditions"] == judged["conditions"]
    assert stored.verdict["baseline_days"] == 21
    assert [event.opened_at.date() for event in system.events.order_by("opened_at")] == [
        FIRST_DAY + timedelta(20),
        FIRST_DAY + timedelta(40),
    ]


def test_only_days_from_the_changed_one_on_are_followed_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    system = registered()
    keep_windows(system, joined(*(a_day(i, "well", 0) for i in range(40))))
    standing.refresh(system.pk)
    followed: list[int] = []

    def counting(*args: object) -> list[episodes.Day]:
        days = episodes.follow(*args)  # type: ignore[arg-type]
        followed.append(len(days))
        return days

    monkeypatch.setattr(course, "follow", counting)
    keep_windows(system, a_day(40, "well", 0))
    standing.refresh(system.pk)
    keep_windows(system, a_day(35, "sick", 0))
    standing.refresh(system.pk)
    standing.refresh(system.pk)
    assert followed == [1, 6]


def test_what_is_kept_is_void_when_what_is_normal_changes() -> None:
    system = registered()
    keep_windows(system, joined(*(a_day(i, "well", 0) for i in range(40))))
    standing.refresh(system.pk)
    before = set(PooledDay.objects.values_list("judged_by", flat=True))
    keep_windows(system, a_day(3, "well", 5))
    standing.refresh(system.pk)
    after = set(PooledDay.objects.values_list("judged_by", flat=True))
    assert len(before) == len(after) == 1
    assert before != after
    assert as_kept(system) == of_everything(system)


def test_an_upload_reads_no_more_windows_after_months_than_after_weeks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    read: list[int] = []

    def counting(*args: object, **kwargs: object) -> Windows:
        found = load(*args, **kwargs)  # type: ignore[arg-type]
        read.append(len(found))
        return found

    load = window_rows.load
    totals = []
    for code, days in (("R1", 40), ("R2", 120)):
        system = registered(code=code, site="ferry-hall")
        keep_windows(system, joined(*(a_day(i, "well", 0) for i in range(days))))
        standing.refresh(system.pk)
        keep_windows(system, a_day(days, "well", 0))
        read.clear()
        with monkeypatch.context() as patched:
            patched.setattr(window_rows, "load", counting)
            standing.refresh(system.pk)
        totals.append(sum(read))
    assert totals == [11 * PER_DAY] * 2  # three days to follow, one to find the end, seven to judge
