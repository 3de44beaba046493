"""Registering a site from its manifest, ``site.toml``; registering again updates what changed.

Nothing is ever removed: a unit the manifest no longer names is retired, a system stays as it was.
When what an upload is read by has changed, uploads that were refused or had unknown columns are
read again. Samples stored keep the conversion of their time, since a stored cell is never changed
unasked: sending a file again with ``--replace`` reads it anew.
"""

from __future__ import annotations

import logging
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.db import transaction

from diagnostics.channels import MAX_INDOOR_UNITS
from diagnostics.plant import Plant
from fleet.ingest import circumstances
from fleet.ingest import manifest_rules as rules
from fleet.ingest.circumstances import Circumstances
from fleet.ingest.due import mark_all_due
from fleet.models import (
    Client,
    IndoorUnit,
    Membership,
    Organisation,
    Site,
    System,
    Upload,
    UploadState,
)
from fleet.models.upload import MAX_ATTEMPTS

logger = logging.getLogger(__name__)

FILE_NAME = "site.toml"
SHOWN_PROBLEMS = 20

CONVERSIONS: dict[str, Callable[[Circumstances], object]] = {
    "timezone": lambda known: known.zone.key,
    "altitude_m": lambda known: known.plant.atmospheric_pressure_pa,
    "compressor_max_speed_rps": lambda known: known.plant.compressor_max_speed_rps,
    "motor_pole_pairs": lambda known: known.plant.motor_pole_pairs,
    "subcooler_valve_full_pulses": lambda known: known.plant.subcooler_valve_full_pulses,
}
"""Keys that decide how an upload is read."""


class ManifestError(ValueError):
    """The manifest is not as it should be; nothing of it was registered. Correct it."""

    def __init__(self, problems: list[str], file: str = FILE_NAME) -> None:
        """Keeps all ``problems``; the message shows the first 20, a line each."""
        self.problems = problems
        more = len(problems) - SHOWN_PROBLEMS
        shown = problems[:SHOWN_PROBLEMS] + ([f"and {more} more"] if more > 0 else [])
        super().__init__("\n".join(f"{file}: {problem}" for problem in shown))


def register(source: Path | str, organisation: Organisation | None = None) -> Site:
    """Register a site with its systems and units, from a folder, a file, or a manifest's text.

    It goes to the default organisation when none is given. All or nothing. Raises ManifestError
    with everything that is wrong.
    """
    manifest, file = _load(source)
    if found := list(rules.problems(manifest)):
        raise ManifestError(found, file)
    with transaction.atomic():
        home = organisation or _default_organisation()
        if taken := _taken(manifest["site"]["code"], home):
            raise ManifestError([taken], file)
        before = _circumstances(manifest["site"]["code"])
        site = _register_site(manifest, home)
        if wrong := [p for table in manifest["system"] for p in _register_system(site, table)]:
            raise ManifestError(wrong, file)
        for system_id, after in _circumstances(site.code).items():
            if system_id in before:
                _follow_up(system_id, before[system_id], after)
    return site


def _load(source: Path | str) -> tuple[dict[str, Any], str]:
    text, file = source, FILE_NAME
    try:
        if isinstance(source, Path):
            path = source / FILE_NAME if source.is_dir() else source
            file = str(path)
            text = path.read_text(encoding="utf-8-sig")
        return tomllib.loads(str(text)), file
    except OSError as error:
        why = f"cannot be read ({error.strerror}): a site folder holds its manifest, {FILE_NAME}"
        raise ManifestError([why], file) from error
    except UnicodeDecodeError as error:
        raise ManifestError(["not UTF-8: save it as UTF-8"], file) from error
    except RecursionError as error:
        deep = "not TOML: lists or tables too deep within each other"
        raise ManifestError([deep], file) from error
    except ValueError as error:  # also whole numbers of thousands of digits
        raise ManifestError([f"not TOML: {error}"], file) from error


def _circumstances(site_code: str) -> dict[int, Circumstances]:
    systems = System.objects.filter(site__code=site_code).select_related("site")
    return {each.id: circumstances.of(each) for each in systems.prefetch_related("indoor_units")}


def _values(table: dict[str, Any], keys: dict[str, rules.Key]) -> dict[str, Any]:
    """Values in SI under the names models have; None for optional keys that are absent."""
    return {
        key.field or name: value if key.per_unit is None or value is None else value * key.per_unit
        for name, key in keys.items()
        for value in [table.get(name)]
    }


def _default_organisation() -> Organisation:
    """The default organisation, with what programs of the release before gave to nobody."""
    home = Organisation.objects.default()
    Client.objects.filter(organisation=None).update(organisation=home)
    Membership.objects.filter(organisation=None).update(organisation=home)
    return home


def _taken(site_code: str, organisation: Organisation) -> str:
    """What is wrong where the site's code is another organisation's; empty if nothing is."""
    others = Site.objects.filter(code=site_code).exclude(client__organisation=organisation)
    if not others.exists():
        return ""
    return (
        f"[site] code {site_code!r} is in use by another organisation: codes are unique in the "
        "installation, so give this site another one, or name its organisation"
    )


def _register_site(manifest: dict[str, Any], organisation: Organisation) -> Site:
    client = _values(manifest["client"], rules.CLIENT)
    owner, _ = Client.objects.update_or_create(
        organisation=organisation, code=client.pop("code"), defaults=client
    )
    values = _values(manifest["site"], rules.SITE) | {"client": owner}
    values["altitude_m"] = values["altitude_m"] or 0.0
    site, _ = Site.objects.update_or_create(code=values.pop("code"), defaults=values)
    return site


def _register_system(site: Site, table: dict[str, Any]) -> list[str]:
    """Register one system; returns what is wrong, if anything."""
    lines = [_values(line, rules.LIQUID_LINE) for line in table.get("liquid_line", [])]
    values = _values(table, rules.SYSTEM) | {"liquid_lines": lines}
    system, _ = System.objects.update_or_create(site=site, code=values.pop("code"), defaults=values)
    slots = {unit.code: unit.slot for unit in system.indoor_units.all()}
    for unit in table["indoor"]:
        slots.setdefault(unit["code"], max(slots.values(), default=-1) + 1)
    if len(slots) > MAX_INDOOR_UNITS:
        wrong = (
            f"[[system]] {system.code!r}: {len(slots)} indoor units, with those it had before; "
            f"at most {MAX_INDOOR_UNITS} fit: a unit that got a new code counts twice, give it "
            "its old code back"
        )
        return [wrong]
    for unit in table["indoor"]:
        values = _values(unit, rules.INDOOR) | {"slot": slots[unit["code"]], "retired": False}
        values["room"] = values["room"] or ""
        code = values.pop("code")
        IndoorUnit.objects.update_or_create(system=system, code=code, defaults=values)
    named = [unit["code"] for unit in table["indoor"]]
    system.indoor_units.exclude(code__in=named).update(retired=True)
    return []


def _follow_up(system_id: int, before: Circumstances, after: Circumstances) -> None:
    """What a changed manifest sets going: analysis of all days, another look at some uploads."""
    if _without_rooms(before.plant) != _without_rooms(after.plant):
        mark_all_due(system_id)
    if changed := [name for name, of in CONVERSIONS.items() if of(before) != of(after)]:
        logger.warning(
            "%s: %s changed: what was stored before was read with the old manifest; "
            "`upload --replace` reads a file anew",
            System.objects.select_related("site").get(pk=system_id),
            ", ".join(changed),
        )
    if changed or before.slots != after.slots:
        uploads = Upload.objects.filter(system_id=system_id, attempts__lt=MAX_ATTEMPTS)
        refused = uploads.filter(state=UploadState.REFUSED)
        # To replace once more could undo what a later upload replaced.
        taken_in = uploads.filter(replace=False).exclude(state=UploadState.REFUSED)
        for again in (refused, taken_in.exclude(unknown_columns=[])):
            again.update(state=UploadState.STORED, retry_at=None)


def _without_rooms(plant: Plant) -> Plant:
    """The plant less what only people read."""
    return replace(plant, indoor=tuple(replace(unit, room="") for unit in plant.indoor))
