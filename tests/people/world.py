"""Two organisations in one installation, with everybody who may come to their doors."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.utils import timezone

from fleet.ingest import circumstances, proposal, sniff
from fleet.models import (
    Client,
    Event,
    EventNote,
    Invitation,
    LogMapping,
    Membership,
    Organisation,
    Role,
    ShareLink,
    Site,
    SiteVisit,
    Upload,
    UploadToken,
    Webhook,
)
from fleet.notices import mails
from tests.ingest.test_mapping import foreign
from tests.pages import scene
from tests.pages.scene import CANARY, Scene

PEOPLE = (
    "manager",
    "rep",
    "technician",
    "rep of another client",
    "technician without work",
    "manager of another organisation",
    "rep of another organisation",
    "technician of another organisation",
    "operator",
)
OUTSIDERS = tuple(name for name in PEOPLE if name.endswith("of another organisation"))
TOKENS = ("token", "token of another organisation", "revoked token")
NOBODY = "nobody"


@dataclass
class World:
    """What belongs to the watched organisation, the people by role, and the tokens' texts."""

    scene: Scene
    people: dict[str, User]
    tokens: dict[str, str]
    ids: dict[str, Any] = field(default_factory=dict)


def build() -> World:
    """The scene of the page tests as the default organisation, and another one beside it."""
    watched = scene.build()
    other = Organisation.objects.create(code="second", name="Second Company")
    theirs = _theirs(other)
    operator = get_user_model().objects.create_superuser("root", password="open sesame 42")
    people = {
        "manager": watched.manager,
        "rep": watched.rep,
        "technician": watched.technician,
        "rep of another client": watched.outsider,
        "technician without work": scene.person("idle", Role.TECHNICIAN),
        **theirs,
        "operator": operator,
    }
    world = World(watched, people, _tokens(watched.site, Site.objects.get(code="high-weir")))
    world.ids = belongings(world)
    return world


def _theirs(other: Organisation) -> dict[str, User]:
    """The other organisation: a client of the same code, a site, an event, three people."""
    client = Client.objects.create(organisation=other, code="kingfisher", name="Weir Trust")
    site = Site.objects.create(client=client, code="high-weir", name="High Weir", timezone="UTC")
    system = scene.system(site)
    system.indoor_units.update(room="Lobby")
    scene.stand(system, "overcharge", 0.9, 80.0)
    event = scene.open_event(system)
    people = {}
    for role, name in (
        (Role.MANAGER, "wren"),
        (Role.ACCOUNT_REP, "rook"),
        (Role.TECHNICIAN, "tern"),
    ):
        user = scene.person(name, role, client)
        Membership.objects.filter(user=user).update(organisation=other)
        people[f"{name_of(role)} of another organisation"] = User.objects.get(pk=user.pk)
    technician = people["technician of another organisation"]
    Event.objects.filter(pk=event.pk).update(assignee=technician)
    return people


def name_of(role: Role) -> str:
    return {Role.MANAGER: "manager", Role.ACCOUNT_REP: "rep", Role.TECHNICIAN: "technician"}[role]


def _tokens(site: Site, other: Site) -> dict[str, str]:
    _, text = UploadToken.objects.make(site)
    _, foreign_text = UploadToken.objects.make(other)
    revoked, revoked_text = UploadToken.objects.make(site)
    revoked.revoke(timezone.now())
    return dict(zip(TOKENS, (text, foreign_text, revoked_text), strict=True))


def belongings(world: World) -> dict[str, Any]:
    """One of everything, all with the canary in it; what stands in addresses, by name."""
    of, now = world.scene, timezone.now()
    EventNote.objects.create(event=of.event, author=of.manager, text=f"{CANARY} is warm")
    visit = SiteVisit.objects.create(
        event=of.event, visited_on=now.date(), outcome="confirmed", remark=f"{CANARY} again"
    )
    link = ShareLink.objects.create(
        client=of.client, reader=f"{CANARY} owner", expires_at=now + timedelta(days=7)
    )
    upload = Upload.objects.create(
        id=uuid.uuid4(), system=of.system, name=f"{CANARY}.csv", sha256="0" * 64, body=b"time\n"
    )
    organisation = Organisation.objects.default()
    invitation, text = Invitation.objects.make(
        organisation.pk, f"new@{CANARY.lower()}.example", Role.TECHNICIAN
    )
    webhook = Webhook.objects.create(
        organisation=organisation, address=f"https://{CANARY.lower()}.example/called"
    )
    look = sniff.look(foreign())
    told = proposal.propose(look, circumstances.of(of.system), proposal.rooms_of(of.system))
    mapping = LogMapping.objects.create(
        site=of.site,
        system=of.system,
        name=f"{CANARY}.txt",
        sample=foreign(),
        layout=proposal.layout_of(look, told).as_json(),
    )
    User.objects.filter(pk=of.technician.pk).update(last_name=CANARY)
    return {
        "event": of.event.pk,
        "visit": visit.pk,
        "link": link.pk,
        "shared": link.token,
        "upload": upload.pk,
        "invitation": invitation.pk,
        "invited": text,
        "webhook": webhook.pk,
        "mapping": mapping.pk,
        "person": of.technician.pk,
        "stop": mails.stop_link(of.technician, mails.DIGEST).rstrip("/").rpartition("/")[2],
    }
