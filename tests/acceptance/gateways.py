"""Gateways that send uploads over HTTP while the server is being killed."""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from tests.acceptance.pieces import Piece

GIVES_UP, SENDS_AGAIN = 0.4, 0.1
ANSWER_LIMIT_S = 15.0


@dataclass
class Ledger:
    """What gateways sent and were told.

    unknown: sent, but no answer was waited for; answers: how often each status came.
    """

    acknowledged: dict[Piece, str] = field(default_factory=dict)
    unknown: set[Piece] = field(default_factory=set)
    failed_sends: int = 0
    answers: Counter[int] = field(default_factory=Counter)
    sent_again: int = 0
    contradictions: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def acknowledge(self, piece: Piece, upload: str) -> None:
        """Note the id; the same bytes must always get the same one."""
        with self.lock:
            known = self.acknowledged.setdefault(piece, upload)
            self.unknown.discard(piece)
        if known != upload:
            self.contradictions.append(f"{piece.name} is {known}, then {upload}")


@dataclass(frozen=True)
class Gateway:
    """Sends pieces one after the other, each until it is acknowledged or given up."""

    address: str
    token: str
    site: str
    ledger: Ledger
    rng: random.Random
    pause_s: float

    def work(self, pieces: Iterable[Piece], enough: threading.Event) -> None:
        """Send everything; after that repeat what is known until it is ``enough``."""
        for piece in pieces:
            self._send_until_known(piece)
            if self.rng.random() < SENDS_AGAIN:
                self._again()
            if not enough.is_set():
                time.sleep(self.rng.expovariate(1 / self.pause_s))
        while not enough.wait(self.rng.expovariate(1 / self.pause_s)):
            self._again()

    def _again(self) -> None:
        with self.ledger.lock:
            known = list(self.ledger.acknowledged)
            self.ledger.sent_again += 1
        if known:
            self._send_until_known(self.rng.choice(known), may_give_up=False)

    def _send_until_known(self, piece: Piece, *, may_give_up: bool = True) -> None:
        while (upload := self._send(piece)) is None:
            with self.ledger.lock:
                self.ledger.failed_sends += 1
                if may_give_up and self.rng.random() < GIVES_UP:
                    self.ledger.unknown.add(piece)
                    return
            time.sleep(0.2)
        self.ledger.acknowledge(piece, upload)

    def _send(self, piece: Piece) -> str | None:
        """The upload's id, or None when there was no answer or none that acknowledges."""
        target = urlsplit(self.address)
        connection = http.client.HTTPConnection(target.netloc, timeout=ANSWER_LIMIT_S)
        try:
            connection.request(
                "POST",
                f"/api/v1/sites/{self.site}/systems/{piece.system}/uploads",
                piece.body,
                {
                    "Authorization": f"Bearer {self.token}",
                    "Content-Type": "text/csv",
                    "Content-Disposition": f'attachment; filename="{piece.name}"',
                },
            )
            answer = connection.getresponse()
            content = answer.read()
        except (OSError, http.client.HTTPException):
            return None
        finally:
            connection.close()
        with self.ledger.lock:
            self.ledger.answers[answer.status] += 1
        if answer.status in (200, 202):
            return str(json.loads(content)["upload"])
        if answer.status < 500 and answer.status != 429:
            self.ledger.contradictions.append(f"{piece.name}: {answer.status} {content!r}")
        return None
