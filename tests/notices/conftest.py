"""The scene of the page tests, with addresses to write to."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.utils import timezone
from pytest_django import Settings

from fleet.models import Event, News, Standing
from fleet.notices.look import look
from tests.pages import scene


@pytest.fixture
def fleet(db: None, settings: Settings) -> scene.Scene:
    """Everybody has a mail address; what is there already was noted and told long ago."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.PUBLIC_ADDRESS = "https://fleet.example.org"
    built = scene.build()
    for person in User.objects.all():
        User.objects.filter(pk=person.pk).update(email=f"{person.username}@example.org")
    # Data keep coming, however far ahead a test looks.
    Standing.objects.update(last_sample=timezone.now() + timedelta(days=90))
    Event.objects.all().delete()
    look(timezone.now())
    News.objects.all().delete()
    mail.outbox.clear()
    return built
