"""What site visits teach: how much each finding counts, and how common each condition is.

Priors and one factor a finding are fitted together to the outcomes by penalised likelihood. The
likelihood is of what was found given what the data said, so that it does not matter that only
suspected systems are visited. Three things keep a few bad reports from doing harm:

- the penalties hold every number near the table: the prior as a Dirichlet distribution worth
  ``PRIOR_VISITS`` visits, each factor as a normal distribution about 1;
- a report may be wrong: with the probability ``DOUBT`` it says nothing (a mixture, so that reports
  against overwhelming evidence count least);
- everything is bounded, and the reports of one system, of one visitor or of one kind count
  together only so much.

Learning is a pure function of the outcomes that count: leaving one out undoes it.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
import scipy

from diagnostics.samples import FloatArray
from diagnostics.weighing.weigh import CONDITIONS, Weights, together

PRIOR_VISITS = 100.0
"""Visits the table's priors are worth: after as many, theirs and the table's weigh alike."""

FACTOR_BOUNDS = (0.5, 1.5)
FACTOR_SPREAD = 0.12
"""Standard deviation of a factor about 1 before any visit."""

PRIOR_ODDS_BOUND = 2.0
"""No condition becomes more than twice, or less than half, as likely against normal."""

SYSTEM_CAP = 2.0
ALIKE_CAP = 5.0
ALIKE_SHARE = 0.25
"""Reports of one system count together as two at most; those of one visitor, and those that found
the same after the same suspicion, as five or a quarter of all, whichever is more."""

NAME_LENGTH = 16
_SPEAKS = 0.1
_LEAST = 1e-9
_MOVED = 0.02


class Result(StrEnum):
    """What came of a visit."""

    CONFIRMED = "confirmed"
    OTHER_CAUSE = "other_cause"
    NOTHING_FOUND = "nothing_found"


DOUBT = {Result.CONFIRMED: 0.05, Result.OTHER_CAUSE: 0.1, Result.NOTHING_FOUND: 0.25}
"""Probability that a report says nothing about the system; our own choice, no source. Nothing
found is doubted most: a charge is rarely weighed to prove it right."""


@dataclass(frozen=True)
class Outcome:
    """A visit, what it found, and what had been said.

    key: names the visit, the same each time it is read. suspected: the condition it went for.
    found: the condition found where the result is another cause; empty when it is none of
    CONDITIONS. push: finding -> condition -> log-likelihood ratio against normal. probabilities: of
    the conditions. Both as said at the time by the plain table, without anything learned.
    """

    key: str
    system: str
    visitor: str
    suspected: str
    result: Result
    found: str
    push: Mapping[str, Mapping[str, float]]
    probabilities: Mapping[str, float]

    def __post_init__(self) -> None:
        """Raises ValueError naming a condition that does not exist."""
        for name in (self.suspected, *([self.found] if self.found else ())):
            if name not in CONDITIONS:
                raise ValueError(f"{self.key}: {name!r} is none of {', '.join(CONDITIONS)}")

    @property
    def truth(self) -> tuple[str, ...]:
        """Conditions the report allows: one, or all but the one suspected."""
        if self.result is Result.CONFIRMED:
            return (self.suspected,)
        if self.result is Result.NOTHING_FOUND:
            return (CONDITIONS[0],)
        if self.found:
            return (self.found,)
        return tuple(name for name in CONDITIONS if name != self.suspected)


@dataclass(frozen=True)
class FindingLine:
    """One finding: visits in which it spoke for what was found, and against; what it counts now."""

    finding: str
    right: int
    wrong: int
    factor: float
    reason: str


@dataclass(frozen=True)
class PriorLine:
    """One condition: its prior in the table and learned, and how often visits found it."""

    condition: str
    table: float
    learned: float
    suspected: int
    found: int


@dataclass(frozen=True)
class Learned:
    """What the outcomes taught, as two small tables.

    said, would_say: mean probability of what was found, as said at the time and with what was
    learned (on the same visits, so flattering); NaN without outcomes. digest: of what it was
    learned from.
    """

    findings: tuple[FindingLine, ...]
    priors: tuple[PriorLine, ...]
    outcomes: int
    said: float
    would_say: float
    digest: str

    @property
    def factors(self) -> dict[str, float]:
        """How much each finding counts, 1 as in the table."""
        return {line.finding: line.factor for line in self.findings}

    @property
    def name(self) -> str:
        """Names the weights that come of it: empty where nothing was learned.

        Outcomes that move nothing leave the name as it is, so that nothing is judged again.
        """
        if not self.outcomes:
            return ""
        priors = {line.condition: round(line.learned, 6) for line in self.priors}
        return _sha256([priors, self.factors])[:NAME_LENGTH]

    def as_json(self) -> dict[str, object]:
        """Plain types only, for storage."""
        plain = asdict(self)
        return plain | {key: None for key in ("said", "would_say") if math.isnan(float(plain[key]))}

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Learned:
        """What ``as_json`` wrote."""
        means = {
            key: float("nan") if raw[key] is None else raw[key] for key in ("said", "would_say")
        }
        tables = {
            "findings": tuple(FindingLine(**line) for line in raw["findings"]),
            "priors": tuple(PriorLine(**line) for line in raw["priors"]),
        }
        return cls(**dict(raw) | means | tables)


@dataclass(frozen=True, eq=False)
class _Visits:
    """Outcomes as arrays: push (n, findings, 6); said (n, 6), logarithms of the probabilities;
    allowed (n, 6); doubt and weight (n,). table: log priors of the conditions, (6,).
    """

    push: FloatArray
    said: FloatArray
    allowed: FloatArray
    doubt: FloatArray
    weight: FloatArray
    table: FloatArray

    def prior(self, shift: FloatArray) -> FloatArray:
        """Log priors (6,) when each fault's log-odds against normal move by ``shift`` (5,)."""
        log_odds = self.table + np.concatenate([[0.0], shift])
        return np.asarray(log_odds - np.log(np.exp(log_odds).sum()))

    def probabilities(self, log_prior: FloatArray, factor: FloatArray) -> FloatArray:
        """What would have been said, shape (n, 6).

        What was said is moved: a condition had in several ways keeps the odds of its ways, of
        which the pushes are the likeliest one's.
        """
        moved = np.einsum("f,nfc->nc", factor - 1.0, self.push)
        logit = self.said + log_prior - self.table + moved
        odds = np.exp(logit - logit.max(axis=1, keepdims=True))
        return np.asarray(odds / odds.sum(axis=1, keepdims=True))


def digest(outcomes: Iterable[Outcome], weights: Weights) -> str:
    """Names what is learned from: the outcomes, in whatever order, and the table's priors."""
    plain = sorted((vars(outcome) for outcome in outcomes), key=lambda row: str(row["key"]))
    return _sha256([plain, weights.hypotheses, weights.prior.tolist()])


def _sha256(plain: object) -> str:
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def learn(outcomes: Iterable[Outcome], weights: Weights) -> Learned:
    """What the outcomes teach, starting from the table ``weights``.

    The same whatever their order. Raises ValueError for two outcomes of one key.
    """
    counted = sorted(outcomes, key=lambda outcome: outcome.key)
    repeated = [key for key, times in Counter(o.key for o in counted).items() if times > 1]
    if repeated:
        raise ValueError(f"outcomes counted twice: {', '.join(repeated)}; give each visit once")
    names = tuple(sorted(weights.likelihoods))
    visits = _arrays(counted, names, weights)
    log_prior, factor = _fit(visits)
    after = (visits.probabilities(log_prior, factor) * visits.allowed).sum(axis=1)
    said = [sum(o.probabilities.get(name, 0.0) for name in o.truth) for o in counted]
    return Learned(
        findings=_finding_lines(names, visits, factor),
        priors=_prior_lines(counted, visits, log_prior),
        outcomes=len(counted),
        said=float(np.mean(said)) if counted else float("nan"),
        would_say=float(after.mean()) if counted else float("nan"),
        digest=digest(counted, weights),
    )


def apply(weights: Weights, learned: Learned) -> Weights:
    """The table with the learned priors and factors; ``learned`` from no outcomes changes none.

    A condition's hypotheses keep their proportions.
    """
    if not learned.outcomes:
        return weights
    moved = np.log([line.learned / line.table for line in learned.priors])
    return replace(
        weights,
        prior=weights.prior + moved[weights.condition],
        factors=learned.factors,
        taught=learned.name,
    )


def _arrays(outcomes: Sequence[Outcome], names: Sequence[str], weights: Weights) -> _Visits:
    push = np.zeros((len(outcomes), len(names), len(CONDITIONS)))
    for i, outcome in enumerate(outcomes):
        for j, name in enumerate(names):
            told = outcome.push.get(name, {})
            push[i, j] = [told.get(condition, 0.0) for condition in CONDITIONS]
    allowed = np.array([[c in o.truth for c in CONDITIONS] for o in outcomes], dtype=float)
    said = np.array([[o.probabilities.get(c, 0.0) for c in CONDITIONS] for o in outcomes])
    return _Visits(
        push=push,
        said=np.log(said.reshape(-1, len(CONDITIONS)) + _LEAST),
        allowed=allowed.reshape(-1, len(CONDITIONS)),
        doubt=np.array([DOUBT[outcome.result] for outcome in outcomes]),
        weight=_counted(outcomes),
        table=np.log(together(np.exp(weights.prior)[None], weights)[0]),
    )


def _counted(outcomes: Sequence[Outcome]) -> FloatArray:
    """How much each report counts after the caps, 0..1, shape (n,)."""
    alike = max(ALIKE_CAP, ALIKE_SHARE * len(outcomes))
    groups = (
        (SYSTEM_CAP, [outcome.system for outcome in outcomes]),
        (alike, [outcome.visitor for outcome in outcomes]),
        (alike, [(outcome.suspected, outcome.truth) for outcome in outcomes]),
    )
    weight = np.ones(len(outcomes))
    for cap, members in groups:
        size = Counter(members)
        weight *= [min(1.0, cap / size[member]) for member in members]
    return weight


def _fit(visits: _Visits) -> tuple[FloatArray, FloatArray]:
    """Log priors (6,) and factors (findings,) at the maximum of the penalised likelihood."""
    faults, findings = len(CONDITIONS) - 1, visits.push.shape[1]
    reach = np.log(PRIOR_ODDS_BOUND)
    found = scipy.optimize.minimize(
        _loss,
        np.concatenate([np.zeros(faults), np.ones(findings)]),
        args=(visits,),
        jac=True,
        method="L-BFGS-B",
        bounds=[(-reach, reach)] * faults + [FACTOR_BOUNDS] * findings,
    )
    # The last bits depend on the order of sums in the library, and a change too small to matter
    # must not have a fleet judged again.
    shift, factor = found.x[:faults].round(3), found.x[faults:].round(2)
    return visits.prior(shift), factor


def _loss(parameters: FloatArray, visits: _Visits) -> tuple[float, FloatArray]:
    """Negative penalised log-likelihood and its gradient."""
    faults = len(CONDITIONS) - 1
    factor = parameters[faults:]
    log_prior = visits.prior(parameters[:faults])
    told = visits.probabilities(log_prior, factor)
    held = told * visits.allowed
    right = held.sum(axis=1)
    blind = visits.doubt * visits.allowed.mean(axis=1)
    likely = (1.0 - visits.doubt) * right + blind
    # How much each report is taken as speaking of the system, and the pull on the log-odds.
    meant = visits.weight * (1.0 - visits.doubt) / likely
    pull = meant[:, None] * (held - told * right[:, None])
    expected, prior = np.exp(visits.table), np.exp(log_prior)
    gain = float(visits.weight @ np.log(likely)) + PRIOR_VISITS * float(expected @ log_prior)
    gain -= 0.5 * float(((factor - 1.0) ** 2).sum()) / FACTOR_SPREAD**2
    by_prior = pull.sum(axis=0) + PRIOR_VISITS * (expected - prior)
    by_factor = np.einsum("nc,nfc->f", pull, visits.push) - (factor - 1.0) / FACTOR_SPREAD**2
    return -gain, -np.concatenate([by_prior[1:], by_factor])


def _finding_lines(
    names: Sequence[str], visits: _Visits, factor: FloatArray
) -> tuple[FindingLine, ...]:
    others = 1.0 - visits.allowed
    for_it = np.einsum("nfc,nc->nf", visits.push, visits.allowed)
    for_it /= visits.allowed.sum(axis=1)[:, None]
    against = np.einsum("nfc,nc->nf", visits.push, others) / others.sum(axis=1)[:, None]
    speaks = for_it - against
    right = (speaks > _SPEAKS).sum(axis=0)
    wrong = (speaks < -_SPEAKS).sum(axis=0)
    lines = [
        FindingLine(name, int(r), int(w), float(k), _reason(int(r), int(w), float(k)))
        for name, r, w, k in zip(names, right, wrong, factor, strict=True)
    ]
    return tuple(sorted(lines, key=lambda line: (-abs(line.factor - 1.0), line.finding)))


def _reason(right: int, wrong: int, factor: float) -> str:
    if not right + wrong:
        return "no visit has tested it"
    record = f"spoke for what was found in {right} of {right + wrong} visits"
    if factor > 1.0 + _MOVED:
        return f"{record}: counts more"
    if factor < 1.0 - _MOVED:
        surer = " and was surer than that" if right > wrong else ""
        return f"{record}{surer}: counts less"
    return f"{record}: counts as in the table"


def _prior_lines(
    outcomes: Sequence[Outcome], visits: _Visits, log_prior: FloatArray
) -> tuple[PriorLine, ...]:
    suspected = Counter(outcome.suspected for outcome in outcomes)
    found = Counter(outcome.truth[0] for outcome in outcomes if len(outcome.truth) == 1)
    before, after = np.exp(visits.table), np.exp(log_prior)
    return tuple(
        PriorLine(name, float(old), float(new), suspected[name], found[name])
        for name, old, new in zip(CONDITIONS, before, after, strict=True)
    )
