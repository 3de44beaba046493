"""Every look-up stays within the organisation of who asks."""

from __future__ import annotations

import ast
from collections import Counter
from typing import Any

import pytest
from django.http import Http404

from fleet import access
from fleet.api import access as api_access
from fleet.models import Event, Organisation, Role, UploadToken
from tests.people.world import OUTSIDERS, World
from tests.structure import source

PATHS = {
    "visible_systems": "site__client__organisation",
    "visible_sites": "client__organisation",
    "visible_events": "system__site__client__organisation",
    "log_mappings": "site__client__organisation",
    "visible_clients": "organisation",
    "technicians": "membership__organisation",
    "people": "membership__organisation",
}
"""Functions of fleet/access.py that give rows, and the way to the organisation of each."""

TENANTS = {"Client", "Site", "System", "Event", "EventNote", "SiteVisit", "LogMapping", "Upload"}
LOOK_UPS = {
    "fleet/api/access.py": (2, "the token's site; below the systems that are seen"),
    "fleet/api/keeping.py": (1, "by keys of the token's site"),
    "fleet/api/measures.py": (5, "totals of the installation, without names, for inside"),
    "fleet/pages/event/arrange.py": (2, "by the key of an event that is seen; none"),
    "fleet/pages/ranking/briefs.py": (2, "below the systems that are seen"),
    "fleet/pages/building/page.py": (1, "beside systems that are seen"),
    "fleet/pages/event/actions.py": (1, "by the key of an event that is seen"),
    "fleet/pages/handling.py": (2, "below events that are seen"),
    "fleet/pages/logs/page.py": (
        2,
        "for a seen system; by the key of a seen mapping",
    ),
    "fleet/pages/report/paper.py": (1, "the client of a signed link"),
    "fleet/pages/people/page.py": (1, "none"),
    "fleet/pages/report/contents.py": (2, "below the systems that are seen"),
    "fleet/pages/report/share.py": (1, "the client of a signed link"),
    "fleet/pages/ranking/since.py": (2, "below the systems that are seen"),
    "fleet/pages/standings.py": (1, "beside systems that are seen"),
    "fleet/pages/event/before.py": (2, "below a system that is seen"),
    "fleet/pages/taught/page.py": (2, "of the manager's organisation"),
}
"""Where pages and API ask for rows of clients past fleet/access.py: how often, and what keeps it
within the organisation."""


@pytest.mark.parametrize("who", OUTSIDERS)
def test_every_look_up_stays_within_the_organisation(world: World, who: str) -> None:
    user, second = world.people[who], Organisation.objects.get(code="second")
    told = 0
    for name, path in PATHS.items():
        rows = getattr(access, name)(user)
        told += rows.count()
        assert not rows.exclude(**{path: second}).exists(), name
    assert told, "an outsider does see what is theirs"
    for look, given in by_key(world).items():
        with pytest.raises(Http404):
            getattr(access, look)(user, *given)


def by_key(world: World) -> dict[str, tuple[Any, ...]]:
    """Every look-up of one thing, with the keys of the watched organisation's."""
    of = world.scene
    return {
        "site_or_404": (of.site.code,),
        "system_or_404": (of.site.code, of.system.code),
        "log_mapping_or_404": (world.ids["mapping"],),
        "share_link_or_404": (world.ids["link"],),
        "event_or_404": (of.event.pk,),
        "event_to_act_on_or_404": (of.event.pk,),
        "event_to_assign_or_404": (of.event.pk,),
        "person_or_404": (world.people["technician"].pk,),
    }


def test_no_look_up_is_forgotten(world: World) -> None:
    tree = source.tree(next(p for p in source.python_files("fleet") if str(p) == "fleet/access.py"))
    public = {
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }
    others = {"role_of", "organisation_of", "client_or_404"}  # a code may be in both
    others |= {"managed_organisation_or_404"}  # the next test's
    assert public == {*PATHS, *by_key(world), *others}


def test_managers_alone_manage_an_organisation_and_only_their_own(world: World) -> None:
    second = Organisation.objects.get(code="second")
    for name, user in world.people.items():
        if access.role_of(user) is Role.MANAGER:
            managed = access.managed_organisation_or_404(user)
            assert (managed == second.pk) == (name in OUTSIDERS), name
        else:
            with pytest.raises(Http404):
                access.managed_organisation_or_404(user)


def test_a_token_sees_its_own_site_alone(world: World) -> None:
    for token in UploadToken.objects.all():
        systems = api_access.visible_systems(token)
        assert systems.exists()
        assert not systems.exclude(site=token.site).exists()
    assert Event.objects.count() > 1


def test_whatever_asks_for_rows_of_clients_past_access_was_looked_at() -> None:
    found = Counter(
        str(path)
        for path in source.python_files("fleet")
        if path.parts[1] in ("pages", "api")
        for node in ast.walk(source.tree(path))
        if isinstance(node, ast.Attribute)
        and node.attr == "objects"
        and isinstance(node.value, ast.Name)
        and node.value.id in TENANTS
    )
    looked_at = {path: times for path, (times, _) in LOOK_UPS.items()}
    assert found == looked_at, "ask fleet/access.py, or say here what keeps it within"
