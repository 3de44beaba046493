"""What fuzzing of requests found once: answers of 500, each mended and kept from coming back."""

from __future__ import annotations

import gzip
import io

import pytest
from django.test import Client as Browser

from fleet.ingest import sniff
from fleet.ingest.report import RefusedError
from fleet.models import Upload
from tests.api.sender import CSV, Sender
from tests.api.test_refusals import raw
from tests.fuzz.gate import answered
from tests.people.world import World

LONG = "9" * 5_000  # more digits than Python reads


def manager(world: World) -> Browser:
    browser = Browser(raise_request_exception=False)
    browser.force_login(world.people["manager"])
    return browser


@pytest.mark.parametrize("name", ["nonsense''x", "idna''%ff"])
def test_a_name_in_an_encoding_there_is_not_is_no_name(gateway: Sender, name: str) -> None:
    answer = gateway.post(CSV, Content_Disposition=f"attachment; filename*={name}")
    assert answer.status_code == 202
    assert Upload.objects.get().name == "upload.csv"


def test_a_length_of_thousands_of_digits_is_no_length(gateway: Sender) -> None:
    status, title, _ = raw(gateway, CSV, CONTENT_LENGTH=LONG)
    assert (status, title) == (411, "Length required")


@pytest.mark.parametrize("content_type", ["text/csv; charset*=x''y", "a; charset*=idna''%ff"])
def test_a_content_type_that_cannot_be_read_does_not_reach_the_server(content_type: str) -> None:
    # Django reads it before any view, outside what it answers 500 for.
    environ = {
        "REQUEST_METHOD": "POST",
        "PATH_INFO": "/api/v1/sites/x/systems/y/uploads",
        "CONTENT_TYPE": content_type,
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "wsgi.url_scheme": "http",
        "wsgi.input": io.BytesIO(CSV),
        "wsgi.errors": io.StringIO(),
    }
    assert answered(environ)[0] == 401


@pytest.mark.parametrize(
    "path",
    [
        "/sites/ferry-hall/%00/charge/",
        "/sites/ferry-hall/%00/data",
        "/logs/systems?system=%00",
        "/?q=%00",
    ],
)
def test_a_nul_in_an_address_is_a_bad_request(world: World, path: str) -> None:
    assert manager(world).get(path).status_code == 400


@pytest.mark.parametrize(
    "path", ["/rounds/?stops=", "/rounds/?reach=", "/clients/kingfisher/?months="]
)
def test_numbers_without_end_are_none(world: World, path: str) -> None:
    assert manager(world).get(path + LONG).status_code == 200


def test_an_event_of_a_number_without_end_is_none(world: World) -> None:
    answer = manager(world).post("/events/together", {"event": LONG, "do": "shelve", "days": "3"})
    assert (answer.status_code, answer["Location"]) == (302, "/")


def test_a_way_back_is_no_name_of_a_page(world: World) -> None:
    data = {"event": "", "next": '"><img src=x onerror=alert(1)>'}
    answer = manager(world).post("/events/together", data)
    assert answer.status_code == 302
    assert "<" not in answer["Location"]


def test_a_foreign_log_of_too_many_columns_is_refused_at_once() -> None:
    wide = ",".join(f"c{at}" for at in range(10_000))
    plain = f"{wide}\n{wide}\n{wide}\n".encode()
    with pytest.raises(RefusedError, match="the file has 10000 columns, the limit is 2000"):
        sniff.look(sniff.beginning(gzip.compress(plain)))
