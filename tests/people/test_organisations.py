"""Organisations beside each other: codes, commands, tokens, and rows of before there were any."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor

from fleet import access
from fleet.ingest.manifest import ManifestError, register
from fleet.models import Client, Event, Membership, Organisation, Role, Site
from tests.ingest.building import MANIFEST
from tests.pages import scene
from tests.people.world import World


def test_a_client_code_is_free_in_another_organisation(db: None) -> None:
    second = Organisation.objects.create(code="second", name="Second Company")
    Client.objects.create(code="alder", name="Alder")
    Client.objects.create(code="alder", name="Alder too", organisation=second)
    twice = pytest.raises(IntegrityError, match="client_code_unique_in_organisation")
    with twice, transaction.atomic():
        Client.objects.create(code="alder", name="Alder again")


def test_a_site_of_another_organisation_cannot_be_taken_over(db: None) -> None:
    site = register(MANIFEST)
    before = (site.name, site.client_id)
    second = Organisation.objects.create(code="second", name="Second Company")
    with pytest.raises(ManifestError, match="is in use by another organisation: codes are unique"):
        register(MANIFEST, second)
    site.refresh_from_db()
    assert (site.name, site.client_id) == before
    assert not Client.objects.filter(organisation=second).exists()


def test_sites_go_to_the_default_organisation_unless_one_is_named(
    db: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "site.toml").write_text(MANIFEST)
    call_command("organisation", "second", "Second Company")
    call_command("load_site", str(tmp_path), "--organisation", "second")
    assert Site.objects.get().client.organisation.code == "second"  # type: ignore[union-attr]
    with pytest.raises(CommandError, match="there is no organisation 'third', only "):
        call_command("load_site", str(tmp_path), "--organisation", "third")
    register(MANIFEST.replace('code = "ferry-hall"', 'code = "quay"'))
    assert Site.objects.get(code="quay").client.organisation == Organisation.objects.default()


def test_rows_that_belong_to_nobody_are_seen_by_nobody_until_they_are_taken_in(db: None) -> None:
    manager = scene.person("mara", Role.MANAGER)
    client = Client.objects.create(code="alder", name="Alder", organisation=None)
    site = Site.objects.create(client=client, code="lost", name="Lost", timezone="UTC")
    assert site not in access.visible_sites(manager)
    register(MANIFEST)
    assert site in access.visible_sites(manager)


def test_the_command_makes_an_organisation_and_invites_its_first_manager(
    db: None, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("organisation", "second", "Second Company", "--invite", "first@example.org")
    said = capsys.readouterr().out
    assert "/invitation/" in said
    assert Organisation.objects.get(code="second").invitations.get().role == Role.MANAGER
    with pytest.raises(CommandError, match="'Second!' is no code: use a-z, 0-9 and hyphens"):
        call_command("organisation", "Second!", "X")


def test_a_rep_sees_no_client_of_another_organisation_that_an_operator_gave_by_mistake(
    world: World,
) -> None:
    rep = world.people["rep"]
    rep.membership.clients.add(Client.objects.get(organisation__code="second"))
    assert not access.visible_sites(rep).filter(code="high-weir").exists()
    assert not access.visible_systems(rep).filter(site__code="high-weir").exists()


def test_nobody_is_sent_to_another_organisations_event(world: World) -> None:
    stranger = world.people["technician of another organisation"]
    manager = world.people["manager"]
    assert stranger not in access.technicians(manager)
    Event.objects.filter(pk=world.ids["event"]).update(assignee=stranger)
    assert not access.visible_events(stranger).filter(pk=world.ids["event"]).exists()


def test_a_client_to_be_forgotten_is_named_with_its_organisation_where_codes_meet(
    world: World,
) -> None:
    with pytest.raises(CommandError, match=r"may be any of .*second/kingfisher.*: name one"):
        call_command("forget_client", "kingfisher", "--yes")
    call_command("forget_client", "second/kingfisher", "--yes")
    assert Client.objects.get(code="kingfisher").organisation == Organisation.objects.default()


@pytest.mark.django_db(transaction=True)
def test_what_was_there_before_belongs_to_the_default_organisation() -> None:
    executor = MigrationExecutor(connection)
    executor.migrate([("fleet", "0007_sign_in_failure_and_event_change")])
    old = executor.loader.project_state([("fleet", "0007_sign_in_failure_and_event_change")]).apps
    client = old.get_model("fleet", "Client").objects.create(code="alder", name="Alder")
    user = old.get_model("auth", "User").objects.create(username="mara")
    old.get_model("fleet", "Membership").objects.create(user=user, role="manager")
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())
    home = Organisation.objects.get(code="default")
    assert Client.objects.get(pk=client.pk).organisation == home
    assert Membership.objects.get().organisation == home
