"""The fleet in the order in which somebody should look at it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple

import numpy as np
from django.db.models import (
    BigIntegerField,
    BooleanField,
    ExpressionWrapper,
    Func,
    Q,
    QuerySet,
)
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
from diagnostics.verdict import Verdict
from diagnostics.verdict import judge as judge_at
from diagnostics.weighing.weigh import CONDITIONS
from diagnostics.windows import empty
from fleet.analysis import learning
from fleet.analysis.record import Record
from fleet.instants import DAY, RESOLUTION, midnight, to_64, to_utc
from fleet.models import System
from fleet.timeseries import store

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

FURTHER_SYSTEMS = 0.1
"""Largest share of what is missing to 100 that a site's other systems may add to its score."""


@dataclass(frozen=True, slots=True)
class SystemRank:
    """One system of the ranking; the names are those of the contract, `as_json` is its shape."""

    site: str
    system: str
    score: float
    leading: str
    probabilities: Sequence[float]
    coverage: float
    last_sample: datetime | None
    urgent: bool = False
    why: str = ""

    @property
    def conditions(self) -> dict[str, float]:
        """Probability of each condition; together 1. Made on demand: a fleet has thousands."""
        return dict(zip(CONDITIONS, self.probabilities, strict=True))

    def as_json(self) -> dict[str, Any]:
        """The record of the contract."""
        return {
            "system": self.system,
            "score": self.score,
            "leading": self.leading,
            "conditions": self.conditions,
            "coverage": self.coverage,
            "last_sample": rfc3339(self.last_sample) if self.last_sample else None,
        }


@dataclass(frozen=True, slots=True)
class SiteRank:
    """One site of the ranking, its systems highest first."""

    site: str
    rank: int
    score: float
    systems: tuple[SystemRank, ...]

    def as_json(self) -> dict[str, Any]:
        """The record of the contract."""
        return {
            "site": self.site,
            "rank": self.rank,
            "score": self.score,
            "systems": [system.as_json() for system in self.systems],
        }


class _Row(NamedTuple):
    """A system with its standing, as the one query of the ranking gives it.

    ended: whether the last window had ended by the time asked for; None without a standing.
    """

    pk: int
    site: str
    system: str
    ended: bool | None
    score: float
    leading: str
    probabilities: Sequence[float]
    coverage: float
    last_sample_us: int | None
    urgent: bool
    why: str


class _Microseconds(Func):
    """A time as microseconds since 1970: parsing ten thousand times costs a tenth of a second."""

    template = "(EXTRACT(EPOCH FROM %(expressions)s) * 1000000)::bigint"
    output_field = BigIntegerField()


def _rows(systems: QuerySet[System], at: datetime) -> list[_Row]:
    of_standing = (f"standing__{name}" for name in ("score", "leading", "conditions", "coverage"))
    rows = systems.order_by().values_list(
        "pk",
        "site__code",
        "code",
        ExpressionWrapper(Q(standing__at__lte=at), output_field=BooleanField()),
        *of_standing,
        _Microseconds("standing__last_sample"),
        "standing__urgent",
        "standing__why",
    )
    return [_Row(*row) for row in rows]


def ranking(at: datetime, systems: QuerySet[System]) -> list[SiteRank]:
    """Sites of ``systems`` as of ``at`` (aware), highest score first.

    A system is judged on the windows that had ended by ``at``, as of the last of them; silence
    since then shows in ``last_sample``. Where that is the last window of all, its stored standing
    says the same, so only a look into the past costs more than one query.
    """
    rows = _rows(systems, at)
    ranks = [_of_standing(row) for row in rows if row.ended]
    past = [row.pk for row in rows if row.ended is False]
    silent = [row for row in rows if row.ended is None]
    related = System.objects.select_related("site").prefetch_related("indoor_units")
    if past:
        ranks += [_of_windows(system, at) for system in related.filter(pk__in=past)]
    if silent:
        nothing = _judge_nothing(related.get(pk=silent[0].pk))
        ranks += [_of_verdict(row.site, row.system, nothing, None) for row in silent]
    return _by_site(ranks)


def as_json(at: datetime, sites: Iterable[SiteRank]) -> dict[str, Any]:
    """The document of the contract."""
    return {"at": rfc3339(at), "sites": [site.as_json() for site in sites]}


def site_scores(scores: FloatArray, starts: NDArray[np.intp]) -> FloatArray:
    """Score of each site from those of its systems: the highest, and a little for the others.

    Let h be the highest and p_i the others, as shares of 100. The others add
    ``FURTHER_SYSTEMS * (1 - h) * (1 - prod(1 - p_i))``: a site with one system has that system's
    score, no site exceeds 100, and a higher score of any system never lowers its site's.

    scores: of all systems, site by site, those of a site descending, shape (n,). starts: where each
    site begins, ascending, shape (sites,); no site is empty. Returns shape (sites,).
    """
    share = scores / 100.0
    counts = np.diff(np.append(starts, share.size))
    none_of_others = np.ones(starts.size)
    for i in range(1, int(counts.max(initial=1))):
        more = counts > i
        none_of_others[more] *= 1.0 - share[starts[more] + i]
    highest = share[starts]
    return 100.0 * (highest + FURTHER_SYSTEMS * (1.0 - highest) * (1.0 - none_of_others))


def rfc3339(moment: datetime) -> str:
    """A time as the contract writes it, in UTC with a Z."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _of_standing(row: _Row) -> SystemRank:
    return SystemRank(
        row.site,
        row.system,
        row.score,
        row.leading,
        row.probabilities,
        row.coverage,
        None if row.last_sample_us is None else EPOCH + row.last_sample_us * RESOLUTION,
        row.urgent,
        row.why,
    )


def _of_verdict(
    site: str, system: str, verdict: Verdict, last_sample: datetime | None
) -> SystemRank:
    return SystemRank(
        site,
        system,
        verdict.score,
        verdict.leading,
        tuple(verdict.conditions[name] for name in CONDITIONS),
        verdict.coverage,
        last_sample,
        verdict.urgent,
        verdict.why,
    )


def _of_windows(system: System, at: datetime) -> SystemRank:
    record = Record.of(system, learning.weights_of([system.pk])[system.pk])
    last = record.last_window(to_64(at))
    verdict = _judge_nothing(system) if last is None else record.judge(last)
    return _of_verdict(system.site.code, system.code, verdict, _last_sample(system, at))


def _last_sample(system: System, at: datetime) -> datetime | None:
    days = sorted(day for day in store.days(system.pk) if day <= at.astimezone(UTC).date())
    for day in reversed(days):  # the second at the latest: every listed day holds a sample
        latest = min(midnight(day) + DAY, at + RESOLUTION)
        time = store.read(system, midnight(day), latest, indoor=()).time
        if time.size:
            return to_utc(time[-1])
    return None


def _judge_nothing(system: System) -> Verdict:
    """What is said of a system without windows: the table's prior, whatever the system."""
    return judge_at(empty(), system.plant(), np.datetime64(0, "us"))


def _by_site(ranks: Iterable[SystemRank]) -> list[SiteRank]:
    of_site: defaultdict[str, list[SystemRank]] = defaultdict(list)
    for rank in ranks:
        of_site[rank.site].append(rank)
    listed = [sorted(of_site[code], key=_highest_first) for code in sorted(of_site)]
    scores = np.array([rank.score for ranks in listed for rank in ranks], np.float64)
    counts = np.array([0, *(len(ranks) for ranks in listed)], np.intp)
    score = site_scores(scores, np.cumsum(counts)[:-1])
    return [
        SiteRank(listed[i][0].site, place, float(score[i]), tuple(listed[i]))
        for place, i in enumerate(np.argsort(-score, kind="stable"), start=1)
    ]


def _highest_first(rank: SystemRank) -> tuple[float, str]:
    return -rank.score, rank.system
