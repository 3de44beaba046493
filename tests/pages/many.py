"""A fleet of a thousand sites, put in as rows: for what pages cost, not for what they say."""

from __future__ import annotations

import json
from dataclasses import dataclass

from django.contrib.auth.models import User
from django.db import connection

from diagnostics.analyse import METHOD_VERSION
from diagnostics.weigh import CONDITIONS
from diagnostics.windows import FEATURES, INDEX
from fleet.models import Client, Event, Role
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

_STATEMENTS = {
    "fleet_site": """
INSERT INTO fleet_site (client_id, code, name, timezone, altitude_m, region, latitude_deg,
                        longitude_deg)
SELECT client.id, 'many-' || s, 'Building ' || s, 'Europe/Lisbon', 0, 'Region ' || s %% 12,
       38 + (s %% 31) / 10.0, -9 + (s %% 29) / 10.0
FROM generate_series(0, %(sites)s - 1) AS s
JOIN fleet_client AS client ON client.code = 'many-' || s %% %(clients)s""",
    "fleet_system": """
INSERT INTO fleet_system (site_id, code, refrigerant, cooling_capacity_w,
                          compressor_displacement_m3, compressor_max_speed_rps,
                          subcooler_valve_full_pulses, rated_charge_kg, subcooler_branch_side,
                          liquid_lines)
SELECT site.id, 'R' || r, 'R-32', 45000, 82e-6, 110, 480, 18.5, '', '[]'
FROM fleet_site AS site, generate_series(1, 2) AS r WHERE site.code LIKE 'many-%%'""",
    "fleet_indoorunit": """
INSERT INTO fleet_indoorunit (system_id, slot, code, cooling_capacity_w, room, retired)
SELECT system.id, u, 'A-' || u, 5600, 'Room ' || u, false
FROM fleet_system AS system JOIN fleet_site AS site ON site.id = system.site_id,
     generate_series(0, %(units)s - 1) AS u WHERE site.code LIKE 'many-%%'""",
    "fleet_standing": """
INSERT INTO fleet_standing (system_id, at, last_sample, method_version, score, "leading", coverage,
                            urgent, conditions, why, verdict)
SELECT system.id, now(), now(), %(method)s, system.id * 37 %% 1000 / 10.0,
       (%(conditions)s::text[])[1 + system.id %% 6], 0.9, system.id %% 50 = 0,
       %(shares)s::float8[],
       'Suspicion because subcooling is 12.4 K, expected 5.0 K.', %(verdict)s::jsonb
FROM fleet_system AS system JOIN fleet_site AS site ON site.id = system.site_id
WHERE site.code LIKE 'many-%%'""",
    "fleet_event": """
INSERT INTO fleet_event (system_id, condition, opened_at, closed_at, last_window,
                         peak_probability, peak_at, state, verdict, why, method_version,
                         shelved_reason, withdrawn)
SELECT system.id, 'overcharge', now() - n * interval '20 days',
       CASE WHEN n > 1 OR system.id %% 2 = 0 THEN now() - n * interval '15 days' END, now(), 0.86,
       now() - n * interval '18 days',
       CASE WHEN n > 1 OR system.id %% 2 = 0 THEN 'rtn_unack' ELSE 'unack_active' END,
       %(verdict)s::jsonb, 'Suspicion of too much refrigerant: subcooling 12.4 K.', %(method)s, '',
       false
FROM fleet_system AS system JOIN fleet_site AS site ON site.id = system.site_id,
     generate_series(1, 3) AS n WHERE site.code LIKE 'many-%%'""",
    "fleet_pooledday": """
INSERT INTO fleet_pooledday (system_id, day, method_version, features)
SELECT system.id, current_date - d, %(method)s, %(day)s::float8[]
FROM fleet_system AS system JOIN fleet_site AS site ON site.id = system.site_id,
     generate_series(1, %(days)s) AS d WHERE site.code LIKE 'many-%%'""",
}


@dataclass
class Many:
    """Who looks, and at what."""

    manager: User
    technician: User
    rep: User
    client: Client
    event: Event


def build(sites: int = 1000, days: int = 56) -> Many:
    """``sites`` sites with two systems each, three events a system, and so many pooled days."""
    # The real ledger has some thirty entries of half a kilobyte.
    stored = scene.verdict("overcharge", 0.86)
    stored["ledger"] = [scene.ENTRY | {"finding": f"finding_{i}"} for i in range(30)]
    day = ["nan"] * len(FEATURES)
    for name, value in DAY.items():
        day[INDEX[name]] = repr(value)
    given = {
        "clients": CLIENTS,
        "sites": sites,
        "units": UNITS,
        "days": days,
        "method": METHOD_VERSION,
        "conditions": [*CONDITIONS[1:], "not_enough_data"],
        "shares": [scene.probabilities("overcharge", 0.86)[name] for name in CONDITIONS],
        "verdict": json.dumps(stored),
        "day": "{" + ",".join(day) + "}",
    }
    Client.objects.bulk_create(
        [Client(code=f"many-{i}", name=f"Client {i}") for i in range(CLIENTS)]
    )
    with connection.cursor() as cursor:
        for statement in _STATEMENTS.values():
            cursor.execute(statement, given)
        cursor.execute("ANALYZE")
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
