"""A fleet of a thousand sites, put in as rows: for what pages cost, not for what they say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib.auth.models import User
from django.db import connection, models

from diagnostics.analyse import METHOD_VERSION
from diagnostics.weighing.weigh import CONDITIONS
from diagnostics.windows import FEATURES, INDEX
from fleet.models import (
    Client,
    Event,
    IndoorUnit,
    PooledDay,
    Role,
    Site,
    Standing,
    System,
)
from tests.pages import scene

CLIENTS = 40
UNITS = 6
HOURS = 3600.0

DAY: dict[str, float] = {
    "logged_s": 24 * HOURS,
    "running_s": 12 * HOURS,
    "judged_s": 11 * HOURS,
    "to_indoor_s": 8 * HOURS,
    "steady_s": 9 * HOURS,
    "loaded_s": 8 * HOURS,
    "cooling_s": 8 * HOURS,
    "asking_s": 10 * HOURS,
    "subcooling_to_indoor_k": 5.0,
    "sigma_to_indoor_k": 0.5,
    "load_to_indoor": 0.5,
    "air_to_indoor_k": 300.0,
    "shortfall_k": 0.4,
    "demand_share": 0.5,
}
"""A pooled day in summer; every other feature is NaN."""

_NEW = "fleet_site AS site WHERE site.altitude_m = %(first)s"
_OF_NEW = (
    "fleet_system AS system JOIN fleet_site AS site ON site.id = system.site_id {more}"
    " WHERE site.altitude_m = %(first)s"
)
_CLOSED = "n > 1 OR system.code = 'R2'"

SITE = {
    "client_id": "client.id",
    "code": "'many-' || s",
    "name": "'Building ' || s",
    "timezone": "'Europe/Lisbon'",
    "altitude_m": "%(first)s",
    "region": "'Region ' || s %% 12",
    "latitude_deg": "38 + (s %% 31) / 10.0",
    "longitude_deg": "-9 + (s %% 29) / 10.0",
}
SYSTEM = {
    "site_id": "site.id",
    "code": "'R' || r",
    "refrigerant": "'R-32'",
    "cooling_capacity_w": "45000",
    "compressor_displacement_m3": "82e-6",
    "compressor_max_speed_rps": "110",
    "subcooler_valve_full_pulses": "480",
    "rated_charge_kg": "18.5",
}
UNIT = {
    "system_id": "system.id",
    "slot": "u",
    "code": "'A-' || u",
    "cooling_capacity_w": "5600",
    "room": "'Room ' || u",
}
STANDING = {
    "system_id": "system.id",
    "at": "now()",
    "last_sample": "now()",
    "method_version": "%(method)s",
    "score": "system.id * 37 %% 1000 / 10.0",
    "leading": "(%(conditions)s::text[])[1 + system.id %% 6]",
    "coverage": "0.9",
    "urgent": "system.id %% 50 = 0",
    "conditions": "%(shares)s::float8[]",
    "why": "'Suspicion because subcooling is 12.4 K, expected 5.0 K.'",
}
EVENT = {
    "system_id": "system.id",
    "condition": "'overcharge'",
    "opened_at": "now() - n * interval '20 days'",
    "closed_at": f"CASE WHEN {_CLOSED} THEN now() - n * interval '15 days' END",
    "last_window": "now()",
    "peak_probability": "0.86",
    "peak_at": "now() - n * interval '18 days'",
    "state": f"CASE WHEN {_CLOSED} THEN 'rtn_unack' ELSE 'unack_active' END",
    "method_version": "%(method)s",
    "why": "'Suspicion of too much refrigerant: subcooling 12.4 K.'",
}
POOLED_DAY = {
    "system_id": "system.id",
    "day": "current_date - d",
    "method_version": "%(method)s",
    "features": "%(day)s::float8[]",
}


@dataclass
class Many:
    """Who looks, and at what."""

    manager: User
    technician: User
    rep: User
    client: Client
    event: Event


def _insert(model: type[models.Model], columns: dict[str, str], source: str, given: Any) -> None:
    """Rows of ``source``; a column that is not given has its model's default."""
    values = dict(given)
    chosen = dict(columns)
    for field in model._meta.concrete_fields:
        if not field.primary_key and field.column not in chosen:
            name = f"default_{field.column}"
            prepared = field.get_db_prep_save(
                given.get(field.column, field.get_default()), connection
            )
            values[name], chosen[field.column] = prepared, f"%({name})s"
    names = ", ".join(f'"{name}"' for name in chosen)
    table = model._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} ({names}) SELECT {', '.join(chosen.values())} FROM {source}",
            values,
        )


def grow(first: int, sites: int, days: int) -> None:
    """Add the sites from number ``first`` on, up to ``sites`` of them."""
    # The real ledger has some thirty entries of half a kilobyte.
    stored = scene.verdict("overcharge", 0.86)
    stored["ledger"] = [scene.ENTRY | {"finding": f"finding_{i}"} for i in range(30)]
    day = ["nan"] * len(FEATURES)
    for name, value in DAY.items():
        day[INDEX[name]] = repr(value)
    given = {
        "clients": CLIENTS,
        "first": first,
        "sites": sites,
        "units": UNITS,
        "days": days,
        "method": METHOD_VERSION,
        "conditions": [*CONDITIONS[1:], "not_enough_data"],
        "shares": [scene.probabilities("overcharge", 0.86)[name] for name in CONDITIONS],
        "verdict": stored,
        "day": "{" + ",".join(day) + "}",
    }
    numbers = "generate_series(%(first)s, %(sites)s - 1) AS s JOIN fleet_client AS client"
    _insert(Site, SITE, f"{numbers} ON client.code = 'many-' || s %% %(clients)s", given)
    _insert(System, SYSTEM, f"generate_series(1, 2) AS r, {_NEW}", given)
    units = ", generate_series(0, %(units)s - 1) AS u"
    _insert(IndoorUnit, UNIT, _OF_NEW.format(more=units), given)
    _insert(Standing, STANDING, _OF_NEW.format(more=""), given)
    _insert(Event, EVENT, _OF_NEW.format(more=", generate_series(1, 3) AS n"), given)
    series = ", generate_series(1, %(days)s) AS d"
    _insert(PooledDay, POOLED_DAY, _OF_NEW.format(more=series), given)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def build(sites: int = 1000, days: int = 56) -> Many:
    """``sites`` sites with two systems each, three events a system, and so many pooled days."""
    Client.objects.bulk_create(
        [Client(code=f"many-{i}", name=f"Client {i}") for i in range(CLIENTS)]
    )
    grow(0, sites, days)
    client = Client.objects.get(code="many-3")
    technician = scene.person("many-tech", Role.TECHNICIAN)
    event = Event.objects.filter(system__site__client=client, closed_at=None).earliest("pk")
    Event.objects.filter(closed_at=None, system__site__client=client).update(assignee=technician)
    return Many(
        scene.person("many-manager", Role.MANAGER),
        technician,
        scene.person("many-rep", Role.ACCOUNT_REP, client),
        client,
        event,
    )
