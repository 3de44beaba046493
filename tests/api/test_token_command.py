"""``token``: what it prints where, its exit status, and what a token opens."""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone

from fleet.models import Site, UploadToken
from tests.analysis import building

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 5, 12, 0, tzinfo=UTC)


@pytest.fixture
def site() -> Site:
    return building.registered().site


def run(*arguments: str) -> tuple[str, str]:
    out, err = io.StringIO(), io.StringIO()
    call_command("token", *arguments, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def refusal(*arguments: str) -> tuple[int, str]:
    with pytest.raises(CommandError) as caught:
        run(*arguments)
    return caught.value.returncode, str(caught.value)


def test_the_token_alone_is_on_standard_output(site: Site) -> None:
    out, err = run("ferry-hall")
    text = out.removesuffix("\n")
    assert re.fullmatch(r"millrace_[0-9a-f]{8}_[A-Za-z0-9_-]{43}", text)
    token = UploadToken.objects.recognise(text, NOW)
    assert token is not None
    assert token.site == site
    assert f"token ferry-hall --revoke {token.prefix}" in err
    assert "shown only now" in err
    assert text not in err


def test_the_secret_is_kept_nowhere(site: Site) -> None:
    token, text = UploadToken.objects.make(site)
    secret = text.split("_", 2)[2]
    stored = UploadToken.objects.values().get(pk=token.pk)
    assert not [value for value in stored.values() if secret in str(value)]


def test_every_token_is_another(site: Site) -> None:
    assert len({run("ferry-hall")[0] for _ in range(5)}) == 5


def test_a_revoked_token_opens_nothing(site: Site) -> None:
    token, text = UploadToken.objects.make(site)
    _, err = run("ferry-hall", "--revoke", token.prefix)
    assert err == f"Token {token.prefix} of ferry-hall is revoked.\n"
    assert UploadToken.objects.recognise(text, NOW) is None


def test_revoking_again_keeps_the_first_time(site: Site) -> None:
    token, _ = UploadToken.objects.make(site)
    token.revoke(NOW)
    run("ferry-hall", "--revoke", token.prefix)
    token.refresh_from_db()
    assert token.revoked_at == NOW


def test_a_token_ends_when_it_expires(site: Site) -> None:
    _, text = UploadToken.objects.make(site, NOW)
    assert UploadToken.objects.recognise(text, NOW - timedelta(seconds=1)) is not None
    assert UploadToken.objects.recognise(text, NOW) is None


def test_expires_is_kept_and_said(site: Site) -> None:
    _, err = run("ferry-hall", "--expires", "2199-01-01T00:00:00Z")
    assert "lasts until 2199-01-01T00:00:00+00:00" in err
    assert UploadToken.objects.get().expires_at == datetime(2199, 1, 1, tzinfo=UTC)


def test_a_right_prefix_with_a_wrong_secret_opens_nothing(site: Site) -> None:
    _, text = UploadToken.objects.make(site)
    other = text[:-1] + ("A" if text[-1] != "A" else "B")
    assert UploadToken.objects.recognise(other, NOW) is None


@pytest.mark.parametrize("text", ["", "millrace_", "Bearer x", "millrace_0123abcd_" + "é" * 43])
def test_what_has_not_the_shape_of_a_token_opens_nothing(text: str) -> None:
    assert UploadToken.objects.recognise(text, NOW) is None


def test_the_last_use_is_noted_to_the_minute(site: Site) -> None:
    token, text = UploadToken.objects.make(site)
    for seconds, noted in ((0, 0), (59, 0), (60, 60)):
        UploadToken.objects.recognise(text, NOW + timedelta(seconds=seconds))
        token.refresh_from_db()
        assert token.last_used_at == NOW + timedelta(seconds=noted)


def test_an_unknown_site_is_refused() -> None:
    assert refusal("nowhere") == (
        1,
        "nowhere is not registered: load its site folder with load_site first.",
    )


def test_an_unknown_prefix_is_refused_with_those_there_are(site: Site) -> None:
    token, _ = UploadToken.objects.make(site)
    status, why = refusal("ferry-hall", "--revoke", "00000000")
    assert status == 1
    assert why == f"ferry-hall has no token 00000000; not revoked yet: {token.prefix}."


def test_another_sites_token_cannot_be_revoked(site: Site) -> None:
    other = building.registered(site="quay-store").site
    token, text = UploadToken.objects.make(other)
    assert refusal("ferry-hall", "--revoke", token.prefix)[0] == 1
    assert UploadToken.objects.recognise(text, NOW) is not None


def test_a_whole_token_is_no_prefix_and_is_not_repeated(site: Site) -> None:
    _, text = UploadToken.objects.make(site)
    status, why = refusal("ferry-hall", "--revoke", text)
    assert status == 2
    assert text not in why
    assert "8 characters behind millrace_" in why


@pytest.mark.parametrize(
    ("expires", "why"),
    [("soon", "is no RFC 3339 time"), ("2020-01-01T00:00:00Z", "is past already")],
)
def test_a_wrong_expiry_is_wrong_usage(site: Site, expires: str, why: str) -> None:
    status, said = refusal("ferry-hall", "--expires", expires)
    assert status == 2
    assert f"--expires {expires!r} {why}" in said
    assert not UploadToken.objects.exists()


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ((), "the following arguments are required: SITE"),
        (("ferry-hall", "--revoke", "0", "--expires", "x"), "not allowed with argument"),
    ],
)
def test_arguments_that_make_no_sense_are_named(arguments: tuple[str, ...], why: str) -> None:
    with pytest.raises(CommandError, match=re.escape(why)):
        run(*arguments)


def test_a_token_is_replaced_without_a_gap(site: Site) -> None:
    old, old_text = UploadToken.objects.make(site)
    out, err = run("ferry-hall", "--rotate", old.prefix, "--hours", "2")
    now = timezone.now()
    for text in (old_text, out.strip()):
        assert UploadToken.objects.recognise(text, now) is not None
    later = now + timedelta(hours=2)
    assert UploadToken.objects.recognise(old_text, later) is None
    assert UploadToken.objects.recognise(out.strip(), later) is not None
    assert f"takes the place of {old.prefix}, which lasts until" in err
    assert out.strip() not in err


def test_replacing_never_lengthens_what_a_token_lasts(site: Site) -> None:
    soon = timezone.now() + timedelta(hours=1)
    old, _ = UploadToken.objects.make(site, soon)
    run("ferry-hall", "--rotate", old.prefix)
    old.refresh_from_db()
    assert old.expires_at == soon


def test_what_is_revoked_cannot_be_replaced(site: Site) -> None:
    old, _ = UploadToken.objects.make(site)
    old.revoke(NOW)
    said = f"ferry-hall has no token {old.prefix}; not revoked yet: none."
    assert refusal("ferry-hall", "--rotate", old.prefix) == (1, said)
    assert refusal("ferry-hall", "--rotate", "x")[0] == 2
    assert UploadToken.objects.count() == 1
