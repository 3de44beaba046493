"""OpenMetrics 1.0 text: gauges only, since every number is read from the database when asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

MEDIA_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"


@dataclass(frozen=True)
class Gauge:
    """A metric family. ``values``: label value -> number; without a label, one under ``""``.

    A unit must end the name, as the standard asks.
    """

    name: str
    help: str
    values: Mapping[str, float]
    label: str = ""
    unit: str = ""

    def lines(self) -> Iterable[str]:
        """The exposition of the family; labels and help are our own words and need no escapes."""
        yield f"# TYPE {self.name} gauge"
        if self.unit:
            yield f"# UNIT {self.name} {self.unit}"
        yield f"# HELP {self.name} {self.help}"
        for value, number in self.values.items():
            labels = f'{{{self.label}="{value}"}}' if self.label else ""
            yield f"{self.name}{labels} {number:.16g}"


def exposition(gauges: Iterable[Gauge]) -> str:
    """The text of a scrape."""
    return "\n".join([*(line for gauge in gauges for line in gauge.lines()), "# EOF", ""])
