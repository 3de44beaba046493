"""Registering sites: what a manifest may say, and what happens when it changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnostics.plant import BranchSide, LiquidLine, Refrigerant
from fleet.ingest.manifest import ManifestError, register
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import Client, DueDay, IndoorUnit, Site, System, Upload, UploadState
from tests.ingest.building import MANIFEST, csv, dump, registered

pytestmark = pytest.mark.django_db

A_101 = MANIFEST[MANIFEST.index("[[system.indoor]]") : MANIFEST.rindex("[[system.indoor]]")]
A_102 = MANIFEST[MANIFEST.rindex("[[system.indoor]]") :]


def unit(code: str) -> str:
    """An indoor unit as manifests write it."""
    return f'[[system.indoor]]\ncode = "{code}"\ncooling_capacity_kw = 2.2\n'


def problems(text: str) -> list[str]:
    """What is wrong with a manifest; nothing of it may be registered."""
    with pytest.raises(ManifestError) as caught:
        register(text)
    assert not Client.objects.exists()
    return caught.value.problems


def changed(old: str, new: str) -> str:
    """The manifest with one thing changed."""
    assert old in MANIFEST
    return MANIFEST.replace(old, new, 1)


def test_everything_is_registered_in_si_units() -> None:
    site = register(MANIFEST)
    assert (site.code, site.name, site.timezone) == ("ferry-hall", "Ferry Hall", "Europe/Lisbon")
    assert (site.client.code, site.client.name) == ("alder-council", "Alder Council")
    plant = site.systems.get().plant()
    assert plant.refrigerant is Refrigerant.R410A
    assert plant.cooling_capacity_w == 45_000
    assert plant.compressor_displacement_m3 == pytest.approx(82e-6)
    assert (plant.compressor_max_speed_rps, plant.motor_pole_pairs) == (110, 2)
    assert plant.subcooler_valve_full_pulses == 480
    assert plant.subcooler_valve_full_area_m2 == pytest.approx(2.2e-6)
    assert plant.subcooler_branch_side is BranchSide.INDOOR
    assert plant.rated_charge_kg == 18.5
    assert plant.liquid_lines == (LiquidLine(pytest.approx(0.0111), 42.0),)
    first, second = plant.indoor
    assert (first.code, first.cooling_capacity_w, first.room) == ("A-101", 5600, "Ticket office")
    assert (first.room_volume_m3, first.elevation_m) == (74, -6)
    assert (second.room, second.room_volume_m3, second.elevation_m) == ("", None, None)
    # ISO 2533, table of the standard atmosphere: 100 904 Pa at 35 m, by its formula.
    assert plant.atmospheric_pressure_pa == pytest.approx(100_905, abs=5)


def test_optional_keys_may_be_absent() -> None:
    optional = (
        "altitude_m",
        "motor_pole_pairs",
        "subcooler_valve_full_area_mm2",
        "rated_charge",
        "subcooler_branch_side",
        "room",
        "elevation_m",
        "[[system.liq",
        "inside_",
        "length",
    )
    lines = [line for line in MANIFEST.splitlines() if not line.startswith(optional)]
    plant = register("\n".join(lines)).systems.get().plant()
    assert plant.motor_pole_pairs is None
    assert plant.subcooler_branch_side is None
    assert plant.liquid_lines == ()
    assert plant.atmospheric_pressure_pa == 101_325


def test_a_folder_or_a_file_may_be_given(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_bytes(b"\xef\xbb\xbf" + MANIFEST.encode())
    assert register(tmp_path) == register(tmp_path / "site.toml") == Site.objects.get()


def test_a_folder_without_manifest_says_so(tmp_path: Path) -> None:
    with pytest.raises(ManifestError) as caught:
        register(tmp_path)
    assert str(caught.value) == (
        f"{tmp_path}/site.toml: cannot be read (No such file or directory): a site folder holds "
        "its manifest, site.toml"
    )


def test_text_that_is_no_toml_says_where() -> None:
    (problem,) = problems('[client]\ncode = "a\n')
    assert problem.startswith("not TOML: ")
    assert "line 2" in problem


def test_bytes_that_are_no_utf_8_are_refused(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_bytes(MANIFEST.encode("utf-16"))
    with pytest.raises(ManifestError, match="not UTF-8: save it as UTF-8"):
        register(tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        (
            "[client]", 'colour = "red"\n[client]',
            "the manifest: unknown key 'colour': remove it; known are client, site, system",
        ),
        (
            "[client]", '[client]\nphone = "1"',
            "[client]: unknown key 'phone': remove it; known are code, name",
        ),
        (
            "altitude_m = 35", "altitude = 35",
            "[site]: unknown key 'altitude': remove it; known are altitude_m, code, name, timezone",
        ),
        (
            "length_m = 42.0", "length_ft = 42.0",
            ("[[system]] 'R1', [[system.liquid_line]] 1: unknown key 'length_ft': remove it; known "
            "are inside_diameter_mm, length_m"),
        ),
        (
            "elevation_m = -6.0", "floor = 1",
            ("[[system]] 'R1', [[system.indoor]] 'A-101': unknown key 'floor': remove it; known "
            "are code, cooling_capacity_kw, elevation_m, room, room_volume_m3"),
        ),
        ('name = "Ferry Hall"', "", "[site]: name is missing: add it"),
        (
            "compressor_max_speed_rps = 110.0", "",
            "[[system]] 'R1': compressor_max_speed_rps is missing: add it",
        ),
        (
            'code = "ferry-hall"', 'code = "Ferry Hall"',
            "[site]: code = 'Ferry Hall': must be text of 1 to 48 characters out of a-z0-9-",
        ),
        (
            'code = "R1"', 'code = "R/1"',
            "[[system]] 'R/1': code = 'R/1': must be text of 1 to 24 characters out of A-Za-z0-9-",
        ),
        (
            'code = "A-102"', 'code = "A-102\\n"',
            ("[[system]] 'R1', [[system.indoor]] 'A-102\\n': code = 'A-102\\n': must be text of 1 "
            "to 24 characters out of A-Za-z0-9-"),
        ),
        (
            '"Europe/Lisbon"', '"Lisbon"',
            "[site]: timezone = 'Lisbon': must be an IANA time zone such as Europe/Lisbon",
        ),
        (
            '"R-410A"', '"R-22"',
            "[[system]] 'R1': refrigerant = 'R-22': must be one of R-410A, R-32, R-454B",
        ),
        (
            '"indoor_side"', '"inside"',
            ("[[system]] 'R1': subcooler_branch_side = 'inside': must be one of outdoor_side, "
            "indoor_side"),
        ),
        (
            "cooling_capacity_kw = 45.0", 'cooling_capacity_kw = "45"',
            "[[system]] 'R1': cooling_capacity_kw = '45': must be a number",
        ),
        (
            "cooling_capacity_kw = 45.0", "cooling_capacity_kw = true",
            "[[system]] 'R1': cooling_capacity_kw = True: must be a number",
        ),
        (
            "cooling_capacity_kw = 45.0", "cooling_capacity_kw = 0",
            "[[system]] 'R1': cooling_capacity_kw = 0: must be above 0 and up to 1000",
        ),
        (
            "cooling_capacity_kw = 45.0", "cooling_capacity_kw = nan",
            "[[system]] 'R1': cooling_capacity_kw = nan: must be above 0 and up to 1000",
        ),
        (
            "cooling_capacity_kw = 45.0", "cooling_capacity_kw = 2026-01-05",
            "[[system]] 'R1': cooling_capacity_kw = a date: must be a number",
        ),
        (
            "motor_pole_pairs = 2", "motor_pole_pairs = 2.5",
            "[[system]] 'R1': motor_pole_pairs = 2.5: must be a whole number",
        ),
        (
            "altitude_m = 35", "altitude_m = 9000",
            "[site]: altitude_m = 9000: must be from -500 to 5000",
        ),
        (
            '"Ticket office"', '"Ticket\\noffice"',
            ("[[system]] 'R1', [[system.indoor]] 'A-101': room = 'Ticket\\noffice': must not hold "
            "line breaks or other control characters"),
        ),
        (
            '"Ferry Hall"', '"  "',
            "[site]: name = '  ': must be text in quotes",
        ),
        (
            'code = "A-102"', 'code = "A-101"',
            "[[system]] 'R1', [[system.indoor]]: code 'A-101' stands 2 times: give each its own",
        ),
        (
            "[[system]]", "[system]",
            "the manifest: system must be written as [[system]] for each",
        ),
    ],
)  # fmt: skip
def test_each_mistake_is_named_with_its_place(old: str, new: str, problem: str) -> None:
    text = changed(old, new)
    if new == "[system]":
        text = text[: text.index("[[system.liq")]
    assert problem in problems(text)


def test_parts_that_are_missing_are_named() -> None:
    assert problems("") == [
        "the manifest: [client] is missing: add it with code, name",
        "the manifest: [site] is missing: add it with code, name, timezone",
        "the manifest: at least one [[system]] is needed: add it",
    ]
    assert problems(MANIFEST[: MANIFEST.index("[[system.indoor]]")]) == [
        "[[system]] 'R1': at least one [[system.indoor]] is needed: add it"
    ]


def test_all_mistakes_are_told_at_once() -> None:
    text = changed("altitude_m = 35", "altitude_m = true").replace("480", '"480"')
    assert len(problems(text)) == 2
    with pytest.raises(ManifestError) as caught:
        register(text)
    assert str(caught.value).splitlines() == [
        "site.toml: [site]: altitude_m = True: must be a number",
        "site.toml: [[system]] 'R1': subcooler_valve_full_pulses = '480': must be a number",
    ]


def test_two_systems_of_one_code_are_refused() -> None:
    twice = MANIFEST + MANIFEST[MANIFEST.index("[[system]]") :]
    assert problems(twice) == ["[[system]]: code 'R1' stands 2 times: give each its own"]


def test_registering_again_keeps_rows_and_updates_what_changed() -> None:
    system = registered()
    text = changed("45.0", "50.0").replace('"Ferry Hall"', '"Ferry House"')
    again = register(text.replace("rated_charge_kg = 18.5", ""))
    assert again.pk == system.site_id
    assert again.name == "Ferry House"
    found = again.systems.get()
    assert (found.pk, found.cooling_capacity_w, found.rated_charge_kg) == (system.pk, 5e4, None)
    assert IndoorUnit.objects.count() == 2


def test_slots_are_stable() -> None:
    registered()
    again = register(MANIFEST.replace(A_101, unit("B-1")).replace(A_102, A_102 + A_101))
    slots = dict(again.systems.get().indoor_units.values_list("code", "slot"))
    assert slots == {"A-101": 0, "A-102": 1, "B-1": 2}


def test_a_unit_left_out_is_retired_and_comes_back() -> None:
    system = registered()
    register(MANIFEST.replace(A_101, ""))
    retired = IndoorUnit.objects.get(code="A-101")
    assert (retired.retired, retired.slot) == (True, 0)
    assert [each.code for each in System.objects.get(pk=system.pk).plant().indoor] == ["A-102"]
    register(MANIFEST)
    assert [each.code for each in System.objects.get(pk=system.pk).plant().indoor] == [
        "A-101", "A-102"
    ]  # fmt: skip


def test_a_system_holds_at_most_64_units_ever() -> None:
    registered()
    many = "".join(unit(f"B-{n}") for n in range(63))
    with pytest.raises(ManifestError) as caught:
        register(MANIFEST + many)
    assert caught.value.problems == [
        (
            "[[system]] 'R1': 65 indoor units, with those it had before; at most 64 fit: a unit "
            "that got a new code counts twice, give it its old code back"
        )
    ]
    assert IndoorUnit.objects.count() == 2
    register(MANIFEST.replace(A_101, "") + many.replace(unit("B-62"), ""))
    assert IndoorUnit.objects.count() == 64


def test_a_change_of_the_plant_makes_every_day_due() -> None:
    system = registered()
    body = csv("time,A-101/demand", "2026-01-05T00:00:00Z,1", "2026-01-09T00:00:00Z,0")
    take_in(receive(system, "a.csv", body)[0].pk)
    DueDay.objects.all().delete()
    register(MANIFEST)
    register(changed('"Ticket office"', '"Booking office"'))
    assert not DueDay.objects.exists(), "what the analysis does not look at changes no result"
    register(changed("rated_charge_kg = 18.5", "rated_charge_kg = 19"))
    assert DueDay.objects.count() == 2


def test_a_new_unit_lets_its_columns_be_read() -> None:
    system = registered()
    body = csv("time,A-101/demand,B-1/demand", "2026-01-05T00:00:00Z,1,1")
    upload = take_in(receive(system, "a.csv", body)[0].pk)
    assert upload.unknown_columns == ["B-1/demand"]
    register(MANIFEST + unit("B-1"))
    upload.refresh_from_db()
    assert upload.state == UploadState.STORED
    again = take_in(upload.pk)
    assert (again.state, again.unknown_columns) == (UploadState.TAKEN_IN, [])
    assert len(dump(system)["indoor demand"]) == 3 * 8


def test_a_refused_upload_is_read_again_when_the_manifest_allows_it() -> None:
    system = register(changed("motor_pole_pairs = 2", "")).systems.get()
    body = csv("time,compressor_speed [Hz]", "2026-01-05T00:00:00Z,100")
    upload = take_in(receive(system, "a.csv", body)[0].pk)
    assert upload.state == UploadState.REFUSED
    register(MANIFEST)
    assert take_in(upload.pk).state == UploadState.TAKEN_IN


def test_an_upload_that_replaced_is_not_read_again() -> None:
    system = registered()
    body = csv("time,A-101/demand,B-1/demand", "2026-01-05T00:00:00Z,1,1")
    upload = take_in(receive(system, "a.csv", body, replace=True)[0].pk)
    register(MANIFEST + unit("B-1"))
    assert Upload.objects.get(pk=upload.pk).state == UploadState.TAKEN_IN


def test_a_change_of_conversion_is_told(caplog: pytest.LogCaptureFixture) -> None:
    registered()
    register(changed("altitude_m = 35", "altitude_m = 350"))
    assert caplog.messages == [
        (
            "ferry-hall/R1: altitude_m changed: what was stored before was read with the old "
            "manifest; `upload --replace` reads a file anew"
        )
    ]
