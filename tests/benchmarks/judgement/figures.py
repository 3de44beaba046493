"""A figure with its interval and its bar; how the intervals are had.

Systems are independent, samples of one system are not. Shares of systems have Wilson intervals;
what is pooled over samples has intervals by drawing systems again (percentile bootstrap, Efron and
Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13). Where every system is at the same
end of the scale drawing again shows nothing, and Wilson's interval over systems stands in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
from statsmodels.stats.proportion import proportion_confint

from diagnostics.samples import FloatArray

REPEATS = 1000
_SEED = 5


@dataclass(frozen=True)
class Bar:
    """What a figure has to reach."""

    limit: float
    at_least: bool

    def met(self, value: float) -> bool:
        """Whether ``value`` reaches it; what could not be had does not."""
        return bool(value >= self.limit if self.at_least else value <= self.limit)


def least(limit: float) -> Bar:
    """At least ``limit``."""
    return Bar(limit, at_least=True)


def most(limit: float) -> Bar:
    """At most ``limit``."""
    return Bar(limit, at_least=False)


@dataclass(frozen=True)
class Figure:
    """One line of the exam. form: of the value (``format`` specification). note: what it is of."""

    words: str
    value: float
    low: float
    high: float
    note: str = ""
    form: str = ".2%"
    bar: Bar | None = None

    def against(self, bar: Bar) -> Figure:
        """The same with a bar."""
        return replace(self, bar=bar)

    @property
    def met(self) -> bool:
        """Whether the bar, if there is one, is reached."""
        return self.bar is None or self.bar.met(self.value)

    def line(self) -> str:
        """The figure in one line: words, value, interval, bar and whether it is met."""
        if np.isnan(self.value):
            shown, interval = "-", ""
        else:
            shown = format(self.value, self.form)
            interval = f"[{self.low:{self.form}}, {self.high:{self.form}}]"
        return f"{self.words:58} {shown:>9} {interval:21} {self._verdict():26} {self.note}".rstrip()

    def _verdict(self) -> str:
        if self.bar is None:
            return ""
        sign = ">=" if self.bar.at_least else "<="
        limit = f"{sign} {self.bar.limit:{'.3g' if self.form[-1] != '%' else '.4g'}}"
        if self.form.endswith("%"):
            limit = (
                f"{sign} {self.bar.limit:.4g}"
                if self.bar.limit > 1
                else (f"{sign} {100 * self.bar.limit:.4g} %")
            )
        worst = self.low if self.bar.at_least else self.high
        sure = "" if self.bar.met(worst) == self.met else ", not surely"
        return f"{limit} {'met' if self.met else 'NOT MET'}{sure}"


def unmet(made: Iterable[Figure]) -> Iterable[str]:
    """Words of the figures whose bar is not met; an indented one with the one it stands under."""
    above = ""
    for figure in made:
        if not figure.words.startswith(" "):
            above = figure.words
        if not figure.met:
            own = figure.words.strip()
            yield own if own == above else f"{above}: {own}"


def systems(words: str, hits: Iterable[bool]) -> Figure:
    """Share of systems with a Wilson interval."""
    said = list(hits)
    part, whole = sum(said), len(said)
    if not whole:
        return Figure(words, np.nan, np.nan, np.nan, "none")
    low, high = proportion_confint(part, whole, method="wilson")
    return Figure(words, part / whole, low, high, f"{part} of {whole} systems")


def ratio(words: str, parts: Iterable[float], wholes: Iterable[float]) -> Figure:
    """Share of samples, given per system, with an interval over systems."""
    part, whole = np.fromiter(parts, float), np.fromiter(wholes, float)
    part, whole = part[whole > 0], whole[whole > 0]
    if not whole.size:
        return Figure(words, np.nan, np.nan, np.nan, "none")
    value = float(part.sum() / whole.sum())
    if np.all(part == 0) or np.all(part == whole):
        low, high = proportion_confint(round(value) * whole.size, whole.size, method="wilson")
    else:
        again = drawn_again(whole.size)
        low, high = np.quantile((again @ part) / (again @ whole), (0.025, 0.975))
    note = f"{part.sum():.0f} of {whole.sum():.0f} in {whole.size} systems"
    return Figure(words, value, float(low), float(high), note)


def pooled(
    words: str, rows: FloatArray, of: Callable[[FloatArray], FloatArray], form: str = ".3f"
) -> Figure:
    """Any function of sums over systems.

    rows: sums of each system, shape (k, m). of: from totals, shape (..., m), to the figure (...).
    """
    if not len(rows):
        return Figure(words, np.nan, np.nan, np.nan, "none", form)
    with np.errstate(invalid="ignore", divide="ignore"):
        value = float(of(rows.sum(axis=0)))
        low, high = np.nanquantile(of(drawn_again(len(rows)) @ rows), (0.025, 0.975))
    return Figure(words, value, float(low), float(high), f"{len(rows)} systems", form)


def drawn_again(count: int) -> FloatArray:
    """How often each of ``count`` systems is drawn, shape (REPEATS, count); always the same."""
    rng = np.random.default_rng(_SEED)
    return rng.multinomial(count, np.full(count, 1.0 / count), REPEATS).astype(np.float64)
