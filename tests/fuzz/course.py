"""The order of inputs: how many of each kind, each drawn from the seed, its kind and its number."""

from __future__ import annotations

import random
from pathlib import Path

from tests.fuzz import manifests, readers, uploads
from tests.fuzz.tally import Case, Tally

SHARES = {"upload": 0.90, "mapping": 0.04, "manifest": 0.04, "request": 0.02}
REQUEST_BATCH = 200


class Course:
    """Runs inputs of every kind by their shares."""

    def __init__(self, seed: int, keep: Path | None = None, *, in_memory: bool = False) -> None:
        self.seed, self.in_memory = seed, in_memory
        self.tally = Tally(keep)

    def run(self, inputs: int, first: int = 0) -> None:
        """So many inputs in all, numbered within each kind from ``first`` on."""
        shares = {k: s for k, s in SHARES.items() if not (self.in_memory and k == "request")}
        for kind, share in shares.items():
            count = round(inputs * share / sum(shares.values()))
            for number in range(first, first + count):
                self.one(kind, number)

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
            case _:
                raise ValueError(f"there are no inputs of kind {kind!r}")
