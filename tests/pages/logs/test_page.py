"""Files of other loggers on a page: look, correct, use."""

from __future__ import annotations

import gzip

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from fleet.models import IndoorUnit, LogMapping, System
from fleet.pages.logs import sparkline
from tests.ingest.test_mapping import foreign
from tests.pages.scene import CANARY, Scene, signed_in

QUERIES = 9


@pytest.fixture
def system(fleet: Scene) -> System:
    """The watched system with the units that the log names."""
    System.objects.filter(pk=fleet.system.pk).update(motor_pole_pairs=2)
    units = (("A-101", "Ticket office"), ("A-102", f"{CANARY} hall"))
    for slot, (code, room) in enumerate(units):
        IndoorUnit.objects.filter(system=fleet.system, slot=slot).update(code=code, room=room)
    return fleet.system


def send(user: object, system: System, body: bytes, name: str = "day.csv") -> Browser:
    browser = signed_in(user)  # type: ignore[arg-type]
    file = SimpleUploadedFile(name, body)
    browser.answer = browser.post("/logs/", {"system": str(system), "file": file})  # type: ignore[attr-defined]
    return browser


def form_of(stored: LogMapping, **changes: str) -> dict[str, str]:
    """What the page's form sends when nothing but ``changes`` is touched."""
    layout = stored.layout
    titles = list(layout["titles"])
    sent = {"form": layout["time"]["form"], "do": "keep"}
    for key, title in zip(("time-1", "time-2"), layout["time"]["titles"], strict=False):
        sent[key] = str(titles.index(title))
    for title, meaning in layout["columns"].items():
        sent[f"meant-{titles.index(title)}"] = meaning["title"]
        sent[f"scale-{titles.index(title)}"] = str(meaning["scale"])
    return sent | changes


def test_only_managers_set_sites_up(fleet: Scene, system: System) -> None:
    assert signed_in(fleet.manager).get("/logs/").status_code == 200
    send(fleet.manager, system, foreign())
    made = LogMapping.objects.get()
    for user in (fleet.rep, fleet.technician, fleet.outsider):
        browser = signed_in(user)
        assert browser.get("/logs/").status_code == 404
        assert browser.get(f"/logs/{made.pk}/").status_code == 404
        assert browser.post(f"/logs/{made.pk}/change", form_of(made, do="use")).status_code == 404
        assert send(user, system, foreign()).answer.status_code == 404  # type: ignore[attr-defined]
    assert LogMapping.objects.get().in_use is False


@pytest.mark.parametrize("packed", [False, True])
def test_columns_are_shown_with_pictures_proposals_and_reasons(
    fleet: Scene, system: System, packed: bool
) -> None:
    body = gzip.compress(foreign()) if packed else foreign()
    browser = send(fleet.manager, system, body)
    made = LogMapping.objects.get()
    assert browser.answer["Location"] == f"/logs/{made.pk}/"  # type: ignore[attr-defined]
    seen = browser.get(f"/logs/{made.pk}/").content.decode()
    assert 'value="discharge_pressure [bar(g)]"' in seen
    assert "the title does not say whether gauge or absolute" in seen
    assert 'value="A-101/room_temperature [degC]"' in seen
    assert seen.count('class="spark"') == 8  # numbers are drawn, words are named
    assert "ON, OFF" in seen
    assert "60 rows of the sample would be taken in with 8 channels" in seen
    assert "21.5 to 27.4\u00a0°C" in seen  # the room, after times 0.1


def test_what_is_corrected_stays_and_is_tried(fleet: Scene, system: System) -> None:
    browser = send(fleet.manager, system, foreign())
    made = LogMapping.objects.get()
    index = made.layout["titles"].index("High press. (bar)")
    wrong = form_of(made, **{f"meant-{index}": "discharge_pressure [bar]"})
    seen = browser.post(f"/logs/{made.pk}/change", wrong, follow=True).content.decode()
    assert "It cannot be taken in so" in seen
    assert "bar(g) or bar(a)" in seen
    assert 'value="discharge_pressure [bar]"' in seen
    right = form_of(made, **{f"meant-{index}": "discharge_pressure [bar(a)]"})
    seen = browser.post(f"/logs/{made.pk}/change", right, follow=True).content.decode()
    assert "2199 to 2396\u00a0kPa gauge" in seen  # 23 to 24.97 bar absolute less 101.3 kPa
    assert not LogMapping.objects.get().in_use


def test_using_it_needs_a_layout_that_can_be_read(fleet: Scene, system: System) -> None:
    browser = send(fleet.manager, system, foreign())
    made = LogMapping.objects.get()
    nothing = {"form": "rfc3339", "do": "use", "time-1": "0"}
    assert browser.post(f"/logs/{made.pk}/change", nothing).status_code == 302
    assert LogMapping.objects.get().in_use is False
    used = form_of(made, do="use")
    answer = browser.post(f"/logs/{made.pk}/change", used, follow=True)
    assert "In use: files with these titles" in answer.content.decode()
    assert LogMapping.objects.get().in_use is True


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"time-1": ""}, "Say which column holds the time."),
        ({"form": "%Q"}, "Choose the form of the time from the list."),
        ({"scale-2": "much"}, "write what its numbers are multiplied by"),
        ({"scale-2": "0"}, "write what its numbers are multiplied by"),
        ({"meant-10": "setpoint [degC]"}, "no column holds a known channel"),
    ],
)
def test_nonsense_in_the_form_is_told(
    fleet: Scene, system: System, change: dict[str, str], said: str
) -> None:
    browser = send(fleet.manager, system, foreign())
    made = LogMapping.objects.get()
    sent = form_of(made, **change)
    if "meant-10" in change:
        sent = {key: value for key, value in sent.items() if not key.startswith("meant-")} | change
    answer = browser.post(f"/logs/{made.pk}/change", {**sent, "time-2": ""}, follow=True)
    assert said in answer.content.decode()


def test_a_mapping_can_be_removed(fleet: Scene, system: System) -> None:
    browser = send(fleet.manager, system, foreign())
    made = LogMapping.objects.get()
    browser.post(f"/logs/{made.pk}/change", {"do": "remove"})
    assert not LogMapping.objects.exists()


def test_what_is_no_log_is_refused_with_a_reason(fleet: Scene, system: System) -> None:
    for body in (b"hello\n", b"\x1f\x8bnothing", b"\x00\x01\x02"):
        browser = send(fleet.manager, system, body)
        assert 'class="message error"' in browser.answer.content.decode()  # type: ignore[attr-defined]
    assert not LogMapping.objects.exists()


def test_hostile_titles_and_names_are_escaped(fleet: Scene, system: System) -> None:
    body = foreign().replace(b"Serial", b"<script>alert(1)</script>")
    browser = send(fleet.manager, system, body, "<img src=x onerror=alert(1)>.csv")
    seen = browser.get(f"/logs/{LogMapping.objects.get().pk}/").content.decode()
    assert "<script>alert" not in seen
    assert "<img" not in seen


def test_few_queries_make_the_page(fleet: Scene, system: System) -> None:
    browser = send(fleet.manager, system, foreign())
    with CaptureQueriesContext(connection) as asked:
        browser.get(f"/logs/{LogMapping.objects.get().pk}/")
    assert len(asked) <= QUERIES, [query["sql"] for query in asked]


def test_a_picture_breaks_where_numbers_are_missing() -> None:
    values = np.concatenate([np.arange(60.0), np.full(60, np.nan), np.arange(60.0)])
    assert sparkline.path(values).count("M") == 2
    assert sparkline.path(np.full(5, np.nan)) == ""
    assert sparkline.path(np.array([3.0])).endswith("h0")
