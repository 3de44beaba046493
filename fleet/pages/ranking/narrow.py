"""What the person narrows the ranking to: a search, and a choice of each kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from urllib.parse import urlencode

from django.http import HttpRequest
from django.utils.translation import gettext as _

from fleet.pages import handling, words
from fleet.pages.ranking.briefs import Occurring, SiteBrief


@dataclass(frozen=True)
class Narrow:
    """What was asked for; empty asks for everything."""

    q: str = ""
    show: str = ""
    client: str = ""
    region: str = ""
    condition: str = ""
    state: str = ""

    @classmethod
    def asked(cls, request: HttpRequest) -> Narrow:
        """From the address."""
        return cls(**{it.name: request.GET.get(it.name, "").strip() for it in fields(cls)})

    def matches(self, site: SiteBrief) -> bool:
        """Whether a site is asked for."""
        return (
            (not self.show or site.attention.code == self.show)
            and (not self.client or site.site.client == self.client)
            and (not self.region or site.site.area == self.region)
            and (not self.condition or self.condition in site.conditions)
            and (not self.state or self.state in site.handled)
            and all(word in site.said for word in self.q.lower().split())
        )

    @property
    def any(self) -> bool:
        """Whether anything narrows."""
        return self != Narrow()

    @property
    def address(self) -> str:
        """As the part of an address that other parts are put to; ends with & unless empty."""
        return self._address(*(it.name for it in fields(self)))

    @property
    def without_show(self) -> str:
        """The same without the kind of attention."""
        return self._address(*(it.name for it in fields(self) if it.name != "show"))

    def _address(self, *names: str) -> str:
        given = {name: value for name in names if (value := getattr(self, name))}
        return f"{urlencode(given)}&" if given else ""


@dataclass(frozen=True)
class Choice:
    """One select above the list."""

    name: str
    label: str
    chosen: str
    options: Sequence[tuple[str, str]]


def choices(narrow: Narrow, found: Occurring) -> list[Choice]:
    """The selects, each with what occurs in the fleet; one with a single answer is left out."""
    conditions = [
        (code, words.SUSPICIONS[code].name) for code in words.FAULTS if code in found.conditions
    ]
    states = [(code, str(word)) for code, word in handling.STATES.items() if code in found.handled]
    made = (
        Choice("client", _("Client"), narrow.client, sorted(found.clients, key=lambda it: it[1])),
        Choice("region", _("Region"), narrow.region, [(it, it) for it in sorted(found.areas)]),
        Choice("condition", _("Suspicion"), narrow.condition, conditions),
        Choice("state", _("Taken up"), narrow.state, states),
    )
    return [it for it in made if len(it.options) > 1 or it.chosen]
