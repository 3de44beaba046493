"""Every look-up by user: who may see and do what. Outsiders get 404, as if nothing were there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from fleet.models import Client, Event, LogMapping, Role, ShareLink, Site, System

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


def visible_systems(user: Person) -> QuerySet[System]:
    """Systems this person may see: all, those of their clients, or those they are sent to."""
    role, systems = role_of(user), System.objects.all()
    if role is Role.MANAGER:
        return systems
    if role is Role.ACCOUNT_REP:
        return systems.filter(site__client__members__user=user.pk)
    if role is Role.TECHNICIAN:
        return systems.filter(
            pk__in=Event.objects.filter(assignee=user.pk, withdrawn=False).values("system")
        )
    return systems.none()


def visible_sites(user: Person) -> QuerySet[Site]:
    """Sites with at least one visible system; managers and reps also see those still empty."""
    role, sites = role_of(user), Site.objects.all()
    if role is Role.MANAGER:
        return sites
    if role is Role.ACCOUNT_REP:
        return sites.filter(client__members__user=user.pk)
    return sites.filter(pk__in=visible_systems(user).values("site"))


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
    mappings = LogMapping.objects.select_related("site", "system__site", "made_by")
    return mappings if role_of(user) is Role.MANAGER else mappings.none()


def log_mapping_or_404(user: Person, pk: int) -> LogMapping:
    """The mapping of that number.

    Raises Http404: no such mapping, or no manager asks.
    """
    return get_object_or_404(log_mappings(user), pk=pk)


def visible_clients(user: Person) -> QuerySet[Client]:
    """Clients whose whole account this person may see: all, or those they look after."""
    role, clients = role_of(user), Client.objects.all()
    if role is Role.MANAGER:
        return clients
    return clients.filter(members__user=user.pk) if role is Role.ACCOUNT_REP else clients.none()


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
    """The event of that number, with its system, site and client.

    Raises Http404: no such event, or not this person's.
    """
    events = visible_events(user).select_related("system__site__client", "assignee")
    return get_object_or_404(events, pk=pk)


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
