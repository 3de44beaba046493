"""Failed sign-ins, so that passwords cannot be tried out."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import models
from django.utils.crypto import salted_hmac

SPAN = timedelta(minutes=15)
BY_BOTH, BY_NAME, BY_ADDRESS = 5, 20, 60
"""Failures within SPAN after which one has to wait: of a name from one address, of a name from
anywhere, of one address for any names. Common practice, no source."""

KEPT = timedelta(days=1)


class SignInFailureManager(models.Manager["SignInFailure"]):
    """Counts failures, and says when one may try again."""

    def note(self, name: str, address: str | None, now: datetime) -> None:
        """Remember a failure; those of days ago are forgotten."""
        self.filter(at__lt=now - KEPT).delete()
        self.create(at=now, name_digest=digest(name), address=address)

    def wait(self, name: str, address: str | None, now: datetime) -> timedelta:
        """How long to wait before the next try; zero when it may be made."""
        # Those that lie ahead were noted before the clock was put back: nobody waits for hours.
        recent = self.filter(at__gt=now - SPAN, at__lt=now + SPAN)
        of_name = recent.filter(name_digest=digest(name))
        limits = (
            (of_name.filter(address=address), BY_BOTH),
            (of_name, BY_NAME),
            (recent.filter(address=address), BY_ADDRESS),
        )
        waits = [timedelta(0)]
        for failures, most in limits:
            # The one that must grow old before fewer than `most` are left.
            oldest = failures.order_by("-at").values_list("at", flat=True)[most - 1 : most]
            waits += [at + SPAN - now for at in oldest]
        return max(waits)

    def forget(self, name: str, address: str | None) -> None:
        """The right password was given: earlier slips of that person do not count."""
        self.filter(name_digest=digest(name), address=address).delete()


class SignInFailure(models.Model):
    """One failure. Names are kept as a keyed digest: people type passwords into the wrong field."""

    at = models.DateTimeField(db_index=True)
    name_digest = models.CharField(max_length=64, db_index=True)
    address = models.GenericIPAddressField(null=True)

    objects = SignInFailureManager()

    def __str__(self) -> str:
        """When and from where."""
        return f"{self.at:%Y-%m-%dT%H:%MZ} from {self.address}"


def digest(name: str) -> str:
    """A name as it is kept."""
    return salted_hmac("millrace.sign-in", name.strip().casefold(), algorithm="sha256").hexdigest()
