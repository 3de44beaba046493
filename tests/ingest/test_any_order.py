"""Whole uploads in any order, split and repetition: the same samples, bit by bit."""

from __future__ import annotations

import gzip
from random import Random

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import System, UploadState
from fleet.timeseries import store
from tests.ingest.building import csv, dump, registered

pytestmark = pytest.mark.django_db

TIMES = [
    "2026-01-04T23:59:50Z", "2026-01-05T00:00:00Z", "2026-01-05T00:00:10.5Z",
    "2026-01-05T01:00:20+01:00", "2026-01-11T23:59:59", "2026-01-12T00:00:00",
]  # fmt: skip
TITLES = {
    "suction_pressure": ["suction_pressure [kPa(a)]", "suction_pressure [bar(a)]"],
    "setpoint": ["A-101/setpoint [degC]", "A-101/setpoint [K]"],
    "call": ["A-102/call"],
}
Cells = dict[str, list[object]]
cells = st.fixed_dictionaries(
    {
        "suction_pressure": st.lists(
            st.one_of(st.none(), st.integers(4000, 9000)), min_size=6, max_size=6
        ),
        "setpoint": st.lists(st.one_of(st.none(), st.integers(1600, 2800)), min_size=6, max_size=6),
        "call": st.lists(st.sampled_from([None, "off", "cool", "heat"]), min_size=6, max_size=6),
    }
)


def text(name: str, value: object, title: str) -> str:
    """A cell as the file writes it; numbers come in tenths of a kPa and hundredths of a degree."""
    if value is None or isinstance(value, str):
        return value or ""
    number = float(str(value))
    if name == "suction_pressure":
        return f"{number / 10:.1f}" if "kPa" in title else f"{number / 1000:.3f}"
    return f"{number / 100:.2f}" if "degC" in title else f"{number / 100 + 273.15:.2f}"


def some_file(truth: Cells, random: Random) -> bytes:
    """A file with some of the truth: some rows and columns, in any order, in any unit."""
    rows = random.sample(range(6), random.randint(1, 6))
    names = random.sample(sorted(truth), random.randint(1, 3))
    return a_file(truth, rows, names, random)


def a_file(truth: Cells, rows: list[int], names: list[str], random: Random) -> bytes:
    """A file with these rows and columns, now and then packed, quoted or ended by CR LF."""
    titles = {name: random.choice(TITLES[name]) for name in names}
    lines = [",".join(["time", *titles.values()])]
    for row in rows:
        given_cells = [text(name, truth[name][row], titles[name]) for name in names]
        lines.append(",".join([TIMES[row], *given_cells]))
    body = csv(*lines, end=random.choice(["\n", "\r\n"]))
    body = body.replace(b"heat", random.choice([b"heat", b'"heat"']))
    return gzip.compress(body) if random.random() < 0.3 else body


def outcome(bodies: list[bytes]) -> tuple[dict[str, bytes], object, object]:
    """Samples, extent and days after these uploads, in this order, from nothing."""
    with transaction.atomic():
        system = registered()
        for body in bodies:
            upload = take_in(receive(system, "x.csv", body)[0].pk)
            assert upload.state == UploadState.TAKEN_IN
            assert (upload.cells_differing, upload.cells_left_out) == (0, 0)
        found = dump(System.objects.get(pk=system.pk))
        result = found, store.extent(system.id), store.days(system.id)
        transaction.set_rollback(True)
    return result


@given(truth=cells, random=st.randoms(use_true_random=False))
@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_uploads_that_do_not_contradict_give_the_same_samples(truth: Cells, random: Random) -> None:
    whole = a_file(truth, list(range(6)), sorted(truth), random)
    pieces = [some_file(truth, random) for _ in range(2)]
    by_column = [a_file(truth, list(range(6)), [name], random) for name in truth]
    rows = random.sample(range(6), 6)
    by_row = [a_file(truth, rows[at::3], sorted(truth), random) for at in range(3)]
    everything = [whole, *pieces, *by_column, *by_row]
    random.shuffle(everything)
    random.shuffle(by_column)
    random.shuffle(by_row)
    wanted = outcome([whole])
    assert outcome(by_column) == wanted
    assert outcome(by_row) == wanted
    assert outcome(everything) == wanted
