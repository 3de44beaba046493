"""Where a system stands: probabilities, a score, one line of why, and the ledger behind them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

import numpy as np

from diagnostics import expectation, pooling
from diagnostics.findings import REGISTRY, Context
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray
from diagnostics.weighing import ledger, pairs, settling, weigh
from diagnostics.weighing.ledger import Entry
from diagnostics.weighing.settling import Step
from diagnostics.weighing.weigh import CONDITIONS, Evidence, Weights
from diagnostics.windows import Windows

RANKED_DAYS = 7
NOT_ENOUGH_DATA = "not_enough_data"

_LEAST_COVERAGE = 0.1
_LEAST_RUNNING_S = 2 * 3600.0
_LEAST_JUDGED_S = 1800.0

CALLED_AT = 0.85
"""Probability of any fault from which one leads. A wrong call costs a day on the road, a call not
made yet costs a few days' delay, for the system keeps its score and is judged again with every
upload: a drive in vain is taken to weigh five to six times as much (our own choice, no source).
Called are then 6 of the 1,284 healthy system-weeks that the weights were fitted on, and none of 468
others (seeds 401 and 403)."""

LEANS_AT = 0.3
"""Probability of any fault from which "normal" is said with the fault it may be."""

_DAYS_AT_A_TIME = 64
"""A baseline rests on few early days; most systems show them among the first so many."""

WET_SUPERHEAT_K = 8.0
"""Discharge superheat below which liquid may be coming back (common practice, no source)."""


@dataclass(frozen=True)
class Verdict:
    """A suspicion with its evidence, never an order.

    conditions: probability of each condition, summing to 1. coverage: share of the running time in
    the ranked period that could be judged. leading: the likeliest fault where one is as likely as
    ``CALLED_AT``, else ``normal``; ``not_enough_data`` where too little could be judged. way: in
    which way the leading condition is had, in words, where there are several. urgent: liquid may be
    coming back to the compressor. settle: the measurements on site that would tell most, best
    first. also: the condition that is there besides, with evidence of its own, where two explain
    the data clearly better than any one; also_text: that in words. plain: probabilities by the
    plain table, without what visits taught; taught: the name of that, empty for the plain table.
    """

    conditions: Mapping[str, float]
    leading: str
    way: str
    score: float
    coverage: float
    why: str
    urgent: bool
    baseline_days: int
    ledger: tuple[Entry, ...]
    settle: tuple[Step, ...]
    also: str = ""
    also_text: str = ""
    plain: Mapping[str, float] = field(default_factory=dict)
    taught: str = ""

    def as_json(self) -> dict[str, object]:
        """Plain types only, for storage."""
        return asdict(self)

    @classmethod
    def from_json(cls, raw: Mapping[str, object]) -> Verdict:
        """The verdict ``as_json`` wrote, now or when fewer things were said."""
        fields = dict(raw)
        entries = fields.pop("ledger")
        settle = fields.pop("settle")
        assert isinstance(entries, list)
        assert isinstance(settle, list)
        return cls(
            **fields,  # type: ignore[arg-type]
            ledger=tuple(Entry(**entry) for entry in entries),
            settle=tuple(_step(step) for step in settle),
        )


def _step(raw: str | Mapping[str, object]) -> Step:
    """A measurement as stored; older rows hold a sentence."""
    if isinstance(raw, str):
        return Step(raw)
    points = raw["points"]
    assert isinstance(points, list | tuple)
    return Step(**dict(raw) | {"points": tuple(points)})  # type: ignore[arg-type]


def judge(
    windows: Windows,
    plant: Plant,
    at: np.datetime64,
    weights: Weights | None = None,
    days: Windows | None = None,
) -> Verdict:
    """The verdict as of ``at`` on the last ``RANKED_DAYS`` days.

    windows: rows of the system; those that start at or after ``at`` are left out. weights: the
    plain table where none are given. days: pooled days of the system up to that of its last window
    before ``at``, of which older ones teach what is normal for it; where they are given, windows
    older than the ranked days need not be.
    """
    weights = weights or weigh.table()
    before = windows.rows(windows.start < at)
    since = at - np.timedelta64(RANKED_DAYS, "D")
    recent = before.rows(before.start >= since)
    days = pooling.daily(before) if days is None else days
    row = pooling.pool(recent)
    context = Context(plant, baseline(days, plant, weights))
    if not len(row):
        return _unknown(context, weights)
    # The days are weighed beside the whole, at the price of one.
    evidence = weigh.weigh(_over(row, pooling.daily(recent)), context, weights)
    probabilities = evidence.probabilities[0]
    coverage, enough = _coverage(row)
    entries = ledger.entries(evidence, weights.factors)
    leading = _leading(probabilities) if enough else NOT_ENOUGH_DATA
    way = ledger.way(evidence, leading) if enough else ""
    also, also_text = _also(leading, evidence, weights)
    return Verdict(
        conditions=_by_name(probabilities),
        leading=leading,
        way=way,
        score=_score(row, evidence.probabilities),
        coverage=coverage,
        why=ledger.one_line(leading, way, entries, coverage, also_text),
        urgent=_urgent(row),
        baseline_days=context.baseline.days if context.baseline else 0,
        ledger=entries,
        settle=settling.settle(evidence, weights),
        also=also,
        also_text=also_text,
        plain=_plain(evidence, weights),
        taught=weights.taught,
    )


def _by_name(probabilities: FloatArray) -> dict[str, float]:
    return dict(zip(CONDITIONS, map(float, probabilities), strict=True))


def _plain(evidence: Evidence, weights: Weights) -> dict[str, float]:
    """Probabilities of the first row by the plain table: learning must not feed on itself."""
    if not weights.taught:
        return _by_name(evidence.probabilities[0])
    factor = np.array([weights.factors.get(finding.name, 1.0) for finding in REGISTRY])
    total = weigh.table().prior + (evidence.push[:, 0] / factor[:, None]).sum(axis=0)
    odds = np.exp(total - total.max())
    return _by_name(weigh.together(odds[None] / odds.sum(), weights)[0])


def _also(leading: str, evidence: Evidence, weights: Weights) -> tuple[str, str]:
    """The condition beside the leading one, by name and in words; empty where one will do.

    Beside normal it is the fault it may be, in words only: that is no call.
    """
    if leading == NOT_ENOUGH_DATA:
        return "", ""
    if leading == CONDITIONS[0]:
        probabilities = evidence.probabilities[0]
        leans = 1.0 - probabilities[0] >= LEANS_AT
        return "", f"perhaps {ledger.WORDS[_likeliest_fault(probabilities)]}" if leans else ""
    pair = pairs.two_at_once(evidence.measured, weights)
    return pair.beside(leading) if pair else ("", "")


def _leading(probabilities: FloatArray) -> str:
    """The likeliest fault where a fault is as likely as ``CALLED_AT``, else normal."""
    if 1.0 - probabilities[0] < CALLED_AT:
        return CONDITIONS[0]
    return _likeliest_fault(probabilities)


def _likeliest_fault(probabilities: FloatArray) -> str:
    return CONDITIONS[1 + int(np.argmax(probabilities[1:]))]


def baseline(
    windows: Windows, plant: Plant, weights: Weights | None = None
) -> expectation.Baseline | None:
    """What is normal for this system, from its early days that looked normal by themselves.

    windows: all rows of the system, or its pooled days, which come to the same.
    """
    if not len(windows):
        return None
    last = windows.start[-1].astype("datetime64[D]")
    settled = last - np.timedelta64(expectation.SETTLED_DAYS, "D")
    history = pooling.daily(windows.rows(windows.start < settled))
    context, weights = Context(plant), weights or weigh.table()
    normal = np.zeros(len(history), np.bool_)
    for first in range(0, len(history), _DAYS_AT_A_TIME):
        if np.count_nonzero(normal & expectation.usable(history)) >= expectation.BASELINE_DAYS:
            break
        some = slice(first, first + _DAYS_AT_A_TIME)
        normal[some] = weigh.weigh(history.rows(some), context, weights).probabilities[:, 0] > 0.5
    return expectation.learn(history.rows(normal))


def _unknown(context: Context, weights: Weights) -> Verdict:
    prior = weigh.together(np.exp(weights.prior)[None], weights)[0]
    return Verdict(
        conditions=_by_name(prior),
        leading=NOT_ENOUGH_DATA,
        way="",
        score=float(_BASE * 100.0 * (1.0 - prior[0])),
        coverage=0.0,
        why=ledger.one_line(NOT_ENOUGH_DATA, "", (), 0.0),
        urgent=False,
        baseline_days=context.baseline.days if context.baseline else 0,
        ledger=(),
        settle=(),
        plain=_by_name(weigh.together(np.exp(weigh.table().prior)[None], weights)[0]),
        taught=weights.taught,
    )


def _coverage(row: Windows) -> tuple[float, bool]:
    """Share of running time judged, and whether that is enough to lead with a condition."""
    running = float(np.nan_to_num(row.column("running_s"))[0])
    judged = float(np.nan_to_num(row.column("judged_s"))[0])
    share = judged / running if running > 0 else 0.0
    enough = share >= _LEAST_COVERAGE and running >= _LEAST_RUNNING_S and judged >= _LEAST_JUDGED_S
    return share, enough


_BASE = 0.7
_SHARES = {"severity": 0.08, "persistence": 0.08, "unmet": 0.07, "compressor": 0.07}


def _score(row: Windows, probabilities: FloatArray) -> float:
    """0 to 100: the probability of a fault, seven tenths of it whatever the rest says.

    Severity of the subcooling's deviation, persistence over the days, unmet demand and risk to the
    compressor share the other three tenths, so that a sure fault is never ranked below a guess.
    probabilities: of the row, and below it of its days.
    """
    off = row.column("subcooling_to_indoor_k") - expectation.usual_cooling_k(row)
    deviation = abs(float(np.nan_to_num(off)[0]))
    parts = {
        "severity": min(deviation / 8.0, 1.0),
        "persistence": float((probabilities[1:, 0] < 0.5).mean()),
        "unmet": min(max(_first(row, "shortfall_k"), 0.0) / 2.0, 1.0),
        "compressor": 1.0 if _urgent(row) else 0.0,
    }
    factor = _BASE + sum(_SHARES[name] * value for name, value in parts.items())
    return float(100.0 * (1.0 - probabilities[0, 0]) * factor)


def _over(row: Windows, days: Windows) -> Windows:
    """The row, and below it its days."""
    return Windows(
        np.concatenate([row.start, days.start]), np.concatenate([row.features, days.features])
    )


def _first(row: Windows, name: str) -> float:
    """A feature of the only row, 0 where it cannot be told."""
    return float(np.nan_to_num(row.column(name))[0])


def _urgent(row: Windows) -> bool:
    superheat = row.column("discharge_superheat_k")[0]
    return bool(np.isfinite(superheat) and superheat < WET_SUPERHEAT_K)
