"""What can be judged with what: channels left out, refrigerants, logging intervals.

Whatever is missing, the judgement may say less, but must not be wrong with confidence: a fault the
system does not have, called with a probability of 0.8 or more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial

import numpy as np

from diagnostics.channels import INDOOR, OUTDOOR
from diagnostics.verdict import NOT_ENOUGH_DATA
from fixtures.exams import exam as mixture
from tests.benchmarks.judgement import cases, examine
from tests.benchmarks.judgement import figures as intervals
from tests.benchmarks.judgement.cases import Case
from tests.benchmarks.judgement.examine import Outcome
from tests.benchmarks.judgement.figures import Figure, most
from tests.benchmarks.judgement.groups import FLEET, Sitting, Size

EVERYTHING = "everything logged"
MUST_HAVE = ("compressor_speed", "discharge_pressure", "suction_pressure",
             "liquid_temperature_outdoor_side", "liquid_temperature_indoor_side",
             "subcooler_valve")  # fmt: skip
"""What the method stands on; left out too, to show what then is said."""

INTERVALS_S = (5, 10, 15, 30, 60, 120, 300)
CONFIDENTLY_WRONG = 0.05
"""Of systems, in any row of the tables."""

_COLUMNS = (
    ("false", "alarms"),
    ("found", ""),
    ("mis-", "diagnosed"),
    ("no", "answer"),
    ("judged", "of running"),
    ("direction", "answered"),
    ("direction", "right"),
    ("hunting", "judged"),
    ("flow", "quantified"),
    ("sure and", "wrong"),
)
_WIDTH, _CELL = 46, 11
Degraded = dict[str, Outcome]


def lines(size: Size, workers: int, *, keep: bool = True) -> tuple[list[str], list[Figure]]:
    """The tables of this part, and the bar on being wrong with confidence."""
    count = size.part(0.15)
    specs = mixture(size.seed, size.part(1 / 2), size.days)
    every = [Sitting(FLEET, spec) for spec in specs]
    plain = examine.outcomes(every[count:], workers, keep=keep)
    channels = examine.each(partial(channels_out, keep=keep), every[:count], workers)
    fine = mixture(size.seed + 51, size.part(0.1), size.days, interval_s=INTERVALS_S[0])
    logged = examine.each(
        partial(slowed, keep=keep), [Sitting(FLEET, spec) for spec in fine], workers
    )
    tables = {
        f"Channels left out in turn, {count} systems": _turned(channels),
        f"Refrigerants, {len(every)} systems, everything logged": _by_refrigerant(
            [one[EVERYTHING] for one in channels] + plain
        ),
        f"Logging intervals, the same {len(logged)} systems": _turned(logged),
    }
    told, figures = [], []
    for title, rows in tables.items():
        told += ["", title, *_head(), *(_row(name, own) for name, own in rows.items())]
        figures += [_sure_and_wrong(title, rows)]
    return [*told, "", *(figure.line() for figure in figures)], figures


def channels_out(sitting: Sitting, *, keep: bool) -> Degraded:
    """One system with every channel left out in turn, and with all that can be spared."""
    case = cases.of(sitting.spec, keep=keep)
    logged = {key.split(".")[1] for key in case.arrays if key.startswith(("outdoor", "indoor"))}
    names = dict.fromkeys(channel.name for channel in (*OUTDOOR, *INDOOR))
    spare = tuple(name for name in names if name not in MUST_HAVE)
    made = {EVERYTHING: _judged(sitting, case)}
    for name in names:
        # Leaving out what this logger never kept changes nothing.
        gone = cases.without(case, (name,))
        made[f"without {name}"] = _judged(sitting, gone) if name in logged else made[EVERYTHING]
    made["without all that can be spared"] = _judged(sitting, cases.without(case, spare))
    return made


def slowed(sitting: Sitting, *, keep: bool) -> Degraded:
    """One system as loggers of all intervals would keep it."""
    case = cases.of(sitting.spec, keep=keep)
    thin: Callable[[int], Case] = partial(cases.thinned, case)
    return {f"every {s} s": _judged(sitting, thin(s)) for s in INTERVALS_S}


def _judged(sitting: Sitting, case: Case) -> Outcome:
    return examine.outcome(replace(sitting, spec=case.spec), case, *case.seen())


def _turned(told: list[Degraded]) -> dict[str, list[Outcome]]:
    return {name: [one[name] for one in told] for name in told[0]}


def _by_refrigerant(outcomes: list[Outcome]) -> dict[str, list[Outcome]]:
    names = sorted({o.refrigerant for o in outcomes})
    rows = {name: [o for o in outcomes if o.refrigerant == name] for name in names}
    return {f"{name}, {len(own)} systems": own for name, own in rows.items()}


def _head() -> Iterable[str]:
    for row in zip(*_COLUMNS, strict=True):
        yield f"{'':{_WIDTH}}" + "".join(f"{it:>{_CELL}}" for it in row)


def _row(name: str, outcomes: list[Outcome]) -> str:
    return f"{name:{_WIDTH}}" + "".join(f"{cell:>{_CELL}}" for cell in _cells(outcomes))


def _cells(outcomes: list[Outcome]) -> Iterable[str]:
    healthy = [o for o in outcomes if o.healthy]
    faulty = [o for o in outcomes if not o.healthy]
    called = [o for o in faulty if o.called]
    yield _share(sum(o.called for o in healthy), len(healthy))
    yield _share(sum(o.right for o in faulty), len(faulty))
    yield _share(sum(not o.right for o in called), len(called))
    yield _share(sum(o.leading == NOT_ENOUGH_DATA for o in outcomes), len(outcomes))
    yield f"{100 * np.mean([o.coverage for o in outcomes]):.0f} %"
    total = {
        key: sum(o.tally.counts[key] for o in outcomes if "sensor_fault" not in o.truths)
        for key in ("clear", "clear answered", "clear right", "flow", "flow quantified")
    }
    yield _share(total["clear answered"], total["clear"])
    yield _share(total["clear right"], total["clear answered"], digits=2)
    yield _share(sum(o.hunting_judged for o in outcomes), len(outcomes))
    yield _share(total["flow quantified"], total["flow"])
    yield _share(sum(o.confidently_wrong for o in outcomes), len(outcomes), digits=1)


def _share(part: float, whole: float, digits: int = 0) -> str:
    return f"{100 * part / whole:.{digits}f} %" if whole else "-"


def _sure_and_wrong(title: str, rows: dict[str, list[Outcome]]) -> Figure:
    """The worst row of a table."""
    made = {
        name: intervals.systems("", (o.confidently_wrong for o in own))
        for name, own in rows.items()
    }
    worst = max(made, key=lambda name: made[name].value)
    words = f"sure and wrong, worst row: {title.split(',')[0].lower()}"
    figure = replace(made[worst], words=words, note=f"{worst}; {made[worst].note}")
    return figure.against(most(CONFIDENTLY_WRONG))
