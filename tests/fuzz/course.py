"""The order of inputs: how many of each kind, each drawn from the seed, its kind and its number."""

from __future__ import annotations

import random
from functools import cached_property
from pathlib import Path

from fleet.models import Client, Site
from tests.fuzz import gate, manifests, pages, readers, uploads
from tests.fuzz.tally import Case, Tally

IN_MEMORY = {"upload": 0.92, "mapping": 0.04, "manifest": 0.04}
SHARES = {"upload": 0.90, "mapping": 0.04, "manifest": 0.04, "request": 0.01, "page": 0.01}
BATCH = 200
"""Requests after which what is stored is compared with what was acknowledged."""


class Course:
    """Runs inputs of every kind by their shares."""

    def __init__(self, seed: int, keep: Path | None = None, *, in_memory: bool = False) -> None:
        self.seed = seed
        self.shares = IN_MEMORY if in_memory else SHARES
        self.tally = Tally(keep)

    @cached_property
    def gate(self) -> gate.Gate:
        """Made when the first request needs it."""
        return gate.Gate()

    @cached_property
    def pages(self) -> pages.Pages:
        """Made when the first page is asked for, in the place of the gate's site."""
        Site.objects.all().delete()
        Client.objects.all().delete()
        made = pages.Pages()
        assert made.fields, "no page has any field"
        return made

    def run(self, inputs: int, first: int = 0) -> None:
        """So many inputs in all, numbered within each kind from ``first`` on."""
        for kind, share in self.shares.items():
            count = round(inputs * share)
            for number in range(first, first + count):
                self.one(kind, number)
                if kind == "request" and (number + 1 - first) % BATCH == 0:
                    self._settle(number)
            if kind == "request":
                self._settle(first + count)

    def _settle(self, number: int) -> None:
        self.tally.take(Case("batch", number, b"", slow_s=60.0), self.gate.settle)

    def one(self, kind: str, number: int) -> None:
        """The input of that kind and number."""
        rng = random.Random(f"{self.seed}:{kind}:{number}")
        match kind:
            case "upload":
                body = uploads.body(rng)
                self.tally.take(Case(kind, number, body), lambda: readers.upload(body))
            case "mapping":
                body = uploads.body(rng)
                self.tally.take(Case(kind, number, body), lambda: readers.proposal_for(body))
            case "manifest":
                text = manifests.text(rng)
                raw = text.encode(errors="surrogatepass")
                self.tally.take(Case(kind, number, raw), lambda: readers.manifest_text(text))
            case "request":
                body, api = gate.body(rng), self.gate
                self.tally.take(Case(kind, number, body), lambda: api.ask(rng, body))
            case "page":
                web = self.pages
                self.tally.take(Case(kind, number, b""), lambda: web.ask(rng))
            case _:
                raise ValueError(f"there are no inputs of kind {kind!r}")
