"""Ten thousand systems are ranked while a page loads."""

from __future__ import annotations

import time

import pytest
from django.db import connection
from django.utils import timezone

from diagnostics.weighing.weigh import CONDITIONS
from fleet.analysis.ranking import ranking
from fleet.models import Client, Site, Standing, System

SYSTEMS = 10_000
LIMIT_S = 0.2
"""Of this process's time: what neighbours on the machine take is not the ranking's."""


@pytest.mark.django_db
def test_ten_thousand_systems_are_ranked_in_a_fifth_of_a_second() -> None:
    client = Client.objects.create(code="alder-council", name="Alder Council")
    sites = Site.objects.bulk_create(
        Site(client=client, code=f"site-{i}", name=f"Site {i}", timezone="UTC")
        for i in range(SYSTEMS // 4)
    )
    plant = {
        "refrigerant": "R-410A",
        "cooling_capacity_w": 28e3,
        "compressor_displacement_m3": 60e-6,
        "compressor_max_speed_rps": 110.0,
        "subcooler_valve_full_pulses": 480.0,
    }
    systems = System.objects.bulk_create(
        System(site=sites[i // 4], code=f"R{i % 4}", **plant) for i in range(SYSTEMS)
    )
    now = timezone.now()
    ledger = {"ledger": [{"finding": f"f{i}", "text": "says little" * 9} for i in range(20)]}
    Standing.objects.bulk_create(
        Standing(
            system=system,
            at=now,
            last_sample=now,
            method_version=1,
            score=float(i % 101),
            leading="normal",
            coverage=0.9,
            conditions=[0.95, 0.01, 0.01, 0.01, 0.01, 0.01],
            why="Nothing unusual.",
            verdict=ledger,
        )
        for i, system in enumerate(systems)
    )
    assert len(CONDITIONS) == 6
    with connection.cursor() as cursor:  # as a fleet that grew has been, long since
        cursor.execute("ANALYZE")
    taken = []
    for _ in range(5):
        began = time.process_time()
        ranked = ranking(now, System.objects.all())
        taken.append(time.process_time() - began)
    assert sum(len(site.systems) for site in ranked) == SYSTEMS
    assert min(taken) < LIMIT_S
