"""Messages: put in once, sent once, tried again with patience, given up in the end."""

from __future__ import annotations

import threading
from datetime import timedelta
from smtplib import SMTPServerDisconnected

import pytest
from django.core import mail
from django.db import connection
from django.utils import timezone

from fleet.models import Outgoing
from fleet.notices import outbox
from tests.pages.scene import Scene


def put(key: str = "a:1", **more: object) -> Outgoing:
    outbox.put(key, **{"to": "a@example.org", "subject": "A", "text": "a", **more})
    return Outgoing.objects.get(key=key)


def test_what_is_put_in_twice_goes_out_once(db: None) -> None:
    put()
    assert not outbox.put("a:1", to="b@example.org", text="b")
    assert outbox.send_waiting() == 1
    assert outbox.send_waiting() == 0
    assert [it.to for it in mail.outbox] == [["a@example.org"]]


def test_a_mail_keeps_its_name_when_it_is_sent_again(db: None) -> None:
    put()
    outbox.send_waiting()
    Outgoing.objects.update(sent_at=None)
    outbox.send_waiting()
    names = {it.extra_headers["Message-ID"] for it in mail.outbox}
    assert names == {"<millrace-a-1@localhost>"}


def test_a_failure_waits_longer_each_time_and_ends(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_: object, **__: object) -> None:
        raise SMTPServerDisconnected("no server")

    monkeypatch.setattr(outbox.EmailMessage, "send", away)
    message, waits = put(secret=True), []
    while message.given_up_at is None:
        Outgoing.objects.update(retry_at=timezone.now())
        assert outbox.send_waiting() == 0
        message.refresh_from_db()
        waits.append(message.retry_at - timezone.now())
    assert message.attempts == len(outbox.WAITS) + 1
    assert waits[:-1] == sorted(waits[:-1])
    assert waits[0] < timedelta(minutes=1) < waits[1]
    assert (message.failure, message.text) == ("no server", "")
    assert outbox.send_waiting() == 0


def test_one_that_fails_holds_up_no_other(db: None) -> None:
    put("a:1", to="")
    put("b:1")
    assert outbox.send_waiting() == 1
    said = Outgoing.objects.get(key="a:1").failure
    assert said == "the person has no mail address, or no account any more"


def test_a_mail_goes_to_the_address_the_person_has_when_it_leaves(fleet: Scene) -> None:
    put(to="", person=fleet.rep)
    type(fleet.rep).objects.filter(pk=fleet.rep.pk).update(email="new@example.org")
    outbox.send_waiting()
    assert mail.outbox[-1].to == ["new@example.org"]


@pytest.mark.django_db(transaction=True)
def test_two_workers_do_not_send_the_same_row(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both have read that it waits; one holds the row while it sends."""
    message, sending, done = put(), threading.Event(), threading.Event()
    sent: list[str] = []

    def slow(mail_: object) -> None:
        sent.append("once")
        sending.set()
        done.wait(10)

    monkeypatch.setattr(outbox, "_mail", slow)

    def work() -> None:
        outbox.send_waiting()
        connection.close()

    worker = threading.Thread(target=work)
    worker.start()
    assert sending.wait(10)
    assert not outbox._send(message.pk, timezone.now())
    done.set()
    worker.join()
    assert sent == ["once"]
    message.refresh_from_db()
    assert message.sent_at is not None
