"""Runs one input after the other within limits, and counts what came of each."""

from __future__ import annotations

import resource
import signal
import time
import traceback
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

SLOW_S = 2.0
STUCK_S = 20
MEMORY_MIB = 1024.0
"""What one process may take more than before the first input. A worker of two has 2 GiB."""

MOST_FAULTS = 20


class WrongError(AssertionError):
    """What came of an input is not what may come of any."""


class StuckError(BaseException):
    """An input took so long that it was ended; no handler of exceptions may swallow it."""


@dataclass(frozen=True)
class Case:
    """One input: its kind and number, by which it can be made again; its bytes, to be kept."""

    kind: str
    number: int
    content: bytes
    slow_s: float = SLOW_S


@dataclass
class Tally:
    """What came of all inputs."""

    keep: Path | None = None
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    slowest: dict[str, tuple[float, int]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    base_mib: float = field(default_factory=lambda: peak_mib())
    highest_mib: float = 0.0

    def take(self, case: Case, act: Callable[[], str]) -> None:
        """Let ``act`` say the outcome; slowness, memory and every exception are faults."""
        before = time.process_time()
        signal.signal(signal.SIGALRM, _stuck)
        signal.alarm(STUCK_S + int(case.slow_s))
        try:
            outcome = act()
        except StuckError:
            outcome = self._fault(case, "STUCK", f"ended after {STUCK_S} s")
        except Exception as error:  # noqa: BLE001 - whatever it is, it is what is looked for
            what = "WRONG" if isinstance(error, WrongError) else "EXCEPTION"
            where = traceback.extract_tb(error.__traceback__)[-1]
            said = f"{type(error).__name__} in {where.name}: {str(error)[:300]!r}"
            outcome = self._fault(case, what, said)
        finally:
            signal.alarm(0)
        took = time.process_time() - before
        self.counts[case.kind, outcome] += 1
        self.seconds[case.kind] += took
        self.slowest[case.kind] = max(self.slowest.get(case.kind, (0.0, 0)), (took, case.number))
        if took > case.slow_s:
            self._fault(case, "SLOW", f"{took:.1f} s")
        self._look_at_memory(case)

    def _look_at_memory(self, case: Case) -> None:
        grown = peak_mib() - self.base_mib
        if grown > MEMORY_MIB >= self.highest_mib:
            self._fault(case, "MEMORY", f"{grown:.0f} MiB")
        self.highest_mib = max(self.highest_mib, grown)

    def _fault(self, case: Case, what: str, said: str) -> str:
        if len(self.faults) < MOST_FAULTS:
            self.faults.append(f"{what} {case.kind}:{case.number} {said}")
        if self.keep is not None:
            self.keep.mkdir(exist_ok=True, parents=True)
            (self.keep / f"{case.kind}-{case.number}").write_bytes(case.content)
        return what

    def lines(self) -> Iterator[str]:
        """Counts by kind and outcome, times, and faults."""
        for kind in dict.fromkeys(kind for kind, _ in self.counts):
            of_kind = {what: n for (each, what), n in self.counts.items() if each == kind}
            took, number = self.slowest[kind]
            yield (
                f"{kind:<12}{sum(of_kind.values()):>9}   {self.seconds[kind]:.0f} s, the slowest "
                f"{took * 1e3:.0f} ms ({kind}:{number})"
            )
            for what, count in sorted(of_kind.items(), key=lambda pair: -pair[1]):
                yield f"  {what:<40}{count:>9}"
        yield f"all inputs  {self.counts.total():>9}   memory rose by {self.highest_mib:.0f} MiB"
        yield from (f"FAULT {fault}" for fault in self.faults)


def peak_mib() -> float:
    """Most memory this process has had resident."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _stuck(_number: int, _frame: FrameType | None) -> None:
    raise StuckError
