"""The administration site: opens for staff, shows results, changes none of them."""

from __future__ import annotations

import pytest
from django.contrib.admin import site
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from fleet.models import Upload
from tests.pages.scene import Scene, signed_in

OURS = sorted(m._meta.model_name or "" for m in site._registry if m._meta.app_label == "fleet")


@pytest.fixture
def staff(fleet: Scene) -> Browser:
    fleet.manager.is_staff = fleet.manager.is_superuser = True
    fleet.manager.save()
    return signed_in(fleet.manager)


@pytest.mark.parametrize("name", OURS)
def test_every_list_opens(staff: Browser, name: str) -> None:
    assert staff.get(f"/admin/fleet/{name}/").status_code == 200


def test_people_who_are_no_staff_stay_out(fleet: Scene) -> None:
    for user in (fleet.manager, fleet.technician, fleet.rep):
        answer = signed_in(user).get("/admin/fleet/upload/")
        assert answer.status_code == 302
        assert "/admin/login/" in answer["Location"]


def test_results_can_be_read_but_not_changed(staff: Browser, fleet: Scene) -> None:
    standing = fleet.system.standing  # type: ignore[attr-defined]
    assert staff.get(f"/admin/fleet/standing/{standing.pk}/change/").status_code == 200
    assert staff.post(f"/admin/fleet/standing/{standing.pk}/change/", {}).status_code == 403
    assert staff.get("/admin/fleet/event/add/").status_code == 403


def test_the_bytes_of_uploads_are_not_fetched_for_a_list(staff: Browser, fleet: Scene) -> None:
    Upload.objects.create(system=fleet.system, name="a.csv", sha256="0" * 64, body=b"x" * 1000)
    with CaptureQueriesContext(connection) as queries:
        staff.get("/admin/fleet/upload/")
    assert not [q for q in queries if '"fleet_upload"."body"' in q["sql"]]


def test_samples_and_windows_are_not_registered() -> None:
    assert not {"sample", "samples", "window"} & set(OURS)
