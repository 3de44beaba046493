"""Every look-up by user: who may see and do what. Outsiders get 404, as if nothing were there.

A person sees what belongs to one organisation, and of that what the role allows. A superuser
without a membership looks after the installation: on the pages a manager of the default
organisation; all of them are in the administration only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.db.models import QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404

from fleet.models import (
    Client,
    Event,
    LogMapping,
    Membership,
    Organisation,
    Role,
    ShareLink,
    Site,
    System,
)

if TYPE_CHECKING:
    from django.contrib.auth.models import AbstractBaseUser, AnonymousUser

    Person = AbstractBaseUser | AnonymousUser


def role_of(user: Person) -> Role | None:
    """The person's role; superusers count as managers, people without a membership see nothing."""
    if not user.is_authenticated:
        return None
    if getattr(user, "is_superuser", False):
        return Role.MANAGER
    membership = getattr(user, "membership", None)
    return Role(membership.role) if membership is not None else None


def organisation_of(user: Person) -> int | None:
    """Key of the organisation whose things this person may look at; None for nobody's."""
    if not user.is_authenticated:
        return None
    membership = getattr(user, "membership", None)
    if isinstance(membership, Membership):
        return membership.organisation_id
    return Organisation.objects.default().pk if getattr(user, "is_superuser", False) else None


def managed_organisation_or_404(user: Person) -> int:
    """Key of the organisation that this person manages.

    Raises Http404: no manager asks.
    """
    organisation = organisation_of(user)
    if organisation is None or role_of(user) is not Role.MANAGER:
        raise Http404
    return organisation


def visible_systems(user: Person) -> QuerySet[System]:
    """Systems this person may see: all of the organisation's, those of their clients, or those
    they are sent to.
    """
    role, organisation = role_of(user), organisation_of(user)
    if role is None or organisation is None:
        return System.objects.none()
    systems = System.objects.filter(site__client__organisation=organisation)
    if role is Role.ACCOUNT_REP:
        return systems.filter(site__client__members__user=user.pk)
    if role is Role.TECHNICIAN:
        return systems.filter(
            pk__in=Event.objects.filter(assignee=user.pk, withdrawn=False).values("system")
        )
    return systems


def visible_sites(user: Person) -> QuerySet[Site]:
    """Sites with at least one visible system; managers and reps also see those still empty."""
    if role_of(user) is Role.TECHNICIAN:
        return Site.objects.filter(pk__in=visible_systems(user).values("site"))
    return Site.objects.filter(client__in=visible_clients(user))


def visible_events(user: Person) -> QuerySet[Event]:
    """Events of the visible systems, without those withdrawn by later data."""
    return Event.objects.filter(system__in=visible_systems(user), withdrawn=False)


def site_or_404(user: Person, code: str) -> Site:
    """The site of that code.

    Raises Http404: no such site, or not this person's.
    """
    return get_object_or_404(visible_sites(user).select_related("client"), code=code)


def system_or_404(user: Person, site_code: str, code: str) -> System:
    """The system of that site and code, with its site and client.

    Raises Http404: no such system, or not this person's.
    """
    systems = visible_systems(user).select_related("site__client").distinct()
    return get_object_or_404(systems, site__code=site_code, code=code)


def log_mappings(user: Person) -> QuerySet[LogMapping]:
    """Mappings of foreign logs, for those who set sites up: managers."""
    if role_of(user) is not Role.MANAGER:
        return LogMapping.objects.none()
    mappings = LogMapping.objects.filter(site__in=visible_sites(user))
    return mappings.select_related("site", "system__site", "made_by")


def log_mapping_or_404(user: Person, pk: int) -> LogMapping:
    """The mapping of that number.

    Raises Http404: no such mapping, or no manager asks.
    """
    return get_object_or_404(log_mappings(user), pk=pk)


def visible_clients(user: Person) -> QuerySet[Client]:
    """Clients whose whole account this person may see: all of the organisation, or their own."""
    role, organisation = role_of(user), organisation_of(user)
    if organisation is None or role not in (Role.MANAGER, Role.ACCOUNT_REP):
        return Client.objects.none()
    clients = Client.objects.filter(organisation=organisation)
    return clients if role is Role.MANAGER else clients.filter(members__user=user.pk)


def client_or_404(user: Person, code: str) -> Client:
    """The client of that code.

    Raises Http404: no such client, not this person's, or a technician asks.
    """
    return get_object_or_404(visible_clients(user), code=code)


def share_link_or_404(user: Person, pk: int) -> ShareLink:
    """The link of that number, for those who may see its client's account.

    Raises Http404: no such link, or not this person's client.
    """
    links = ShareLink.objects.filter(client__in=visible_clients(user)).select_related("client")
    return get_object_or_404(links, pk=pk)


def event_or_404(user: Person, pk: int) -> Event:
    """The event of that number, with its system, indoor units, site and client.

    Raises Http404: no such event, or not this person's.
    """
    events = visible_events(user).select_related("system__site__client", "assignee")
    return get_object_or_404(events.prefetch_related("system__indoor_units"), pk=pk)


def event_to_act_on_or_404(user: Person, pk: int) -> Event:
    """The event, for people who answer alarms: managers and technicians.

    Raises Http404: no such event, not this person's, or an account rep who only reads.
    """
    acting = role_of(user) in (Role.MANAGER, Role.TECHNICIAN)
    events = visible_events(user) if acting else Event.objects.none()
    return get_object_or_404(events.select_related("system__site"), pk=pk)


def event_to_assign_or_404(user: Person, pk: int) -> Event:
    """The event, for those who send people: managers.

    Raises Http404: no such event, or no manager asks.
    """
    events = visible_events(user) if role_of(user) is Role.MANAGER else Event.objects.none()
    return get_object_or_404(events.select_related("system__site"), pk=pk)


def technicians(user: Person) -> QuerySet[User]:
    """Whom this person may send: for managers, the technicians of their organisation."""
    return people(user).filter(membership__role=Role.TECHNICIAN, is_active=True)


def people(user: Person) -> QuerySet[User]:
    """People of the organisation, for its managers."""
    organisation = organisation_of(user)
    known = get_user_model().objects.select_related("membership")
    if organisation is None or role_of(user) is not Role.MANAGER:
        return known.none()
    return known.filter(membership__organisation=organisation).order_by("username")


def person_or_404(user: Person, pk: int) -> User:
    """The person of that number.

    Raises Http404: there is none in the organisation, or no manager asks.
    """
    return get_object_or_404(people(user), pk=pk)
