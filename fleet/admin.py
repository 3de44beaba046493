"""The administration site: what a service company looks up or mends by hand. No samples."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone

from fleet.models import (
    Client,
    DueDay,
    Event,
    IndoorUnit,
    Membership,
    Site,
    SiteVisit,
    Standing,
    System,
    Upload,
    UploadToken,
)


class ReadOnly(admin.ModelAdmin):  # type: ignore[type-arg]
    """Results and received bytes: to look at, not to change."""

    def has_add_permission(self, *_: Any, **__: Any) -> bool:
        """Never."""
        return False

    def has_change_permission(self, *_: Any, **__: Any) -> bool:
        """Never."""
        return False

    def has_delete_permission(self, *_: Any, **__: Any) -> bool:
        """Never."""
        return False


class IndoorUnits(admin.TabularInline):  # type: ignore[type-arg]
    """Indoor units under their system. Manifests add them: their slots must stay stable."""

    model = IndoorUnit
    extra = 0
    can_delete = False
    readonly_fields = ("slot", "code")

    def has_add_permission(self, *_: Any, **__: Any) -> bool:
        """Never."""
        return False


class Visits(admin.TabularInline):  # type: ignore[type-arg]
    """Visits under their event. What a visit was held against is not for hands to change."""

    model = SiteVisit
    extra = 0
    readonly_fields = ("suspected", "judged_at")
    exclude = ("said",)


@admin.register(Client)
class ClientAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Clients."""

    list_display = ("name", "code")
    search_fields = ("name", "code")


@admin.register(Site)
class SiteAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Sites."""

    list_display = ("name", "code", "client", "timezone")
    list_select_related = ("client",)
    search_fields = ("name", "code", "client__name")


@admin.register(System)
class SystemAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Systems with their indoor units."""

    list_display = ("code", "site", "refrigerant", "rated_charge_kg")
    list_select_related = ("site",)
    list_filter = ("refrigerant",)
    search_fields = ("code", "site__code", "site__name")
    inlines = (IndoorUnits,)


@admin.register(Membership)
class MembershipAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Who may see what."""

    list_display = ("user", "role")
    list_select_related = ("user",)
    list_filter = ("role",)
    filter_horizontal = ("clients",)


@admin.register(Event)
class EventAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Events: people's side of them may be mended, the evidence may not."""

    list_display = ("system", "condition", "opened_at", "closed_at", "state", "assignee")
    list_select_related = ("system__site", "assignee")
    list_filter = ("condition", "state", "withdrawn")
    fields = (*list_display, "peak_probability", "why")
    readonly_fields = ("system", "condition", "opened_at", "closed_at", "peak_probability", "why")
    inlines = (Visits,)

    def has_add_permission(self, *_: Any, **__: Any) -> bool:
        """Events come from windows only."""
        return False


@admin.register(Upload)
class UploadAdmin(ReadOnly):
    """What was received and what became of it; never the bytes themselves in a list."""

    list_display = ("name", "system", "state", "received_at", "rows_accepted", "rows_left_out")
    list_select_related = ("system__site",)
    list_filter = ("state",)
    exclude = ("body",)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Upload]:
        """Without the bytes."""
        found: QuerySet[Upload] = super().get_queryset(request).defer("body")
        return found


@admin.register(Standing)
class StandingAdmin(ReadOnly):
    """Where systems stand."""

    list_display = ("system", "leading", "score", "coverage", "at", "last_sample")
    list_select_related = ("system__site",)
    list_filter = ("leading",)


@admin.register(DueDay)
class DueDayAdmin(ReadOnly):
    """Days waiting for analysis, and those that failed."""

    list_display = ("system", "day", "generation", "attempts", "retry_at", "failure")
    list_select_related = ("system__site",)


@admin.register(UploadToken)
class UploadTokenAdmin(ReadOnly):
    """Tokens without their secret; ``manage.py token`` makes them, here they can be revoked."""

    list_display = ("prefix", "site", "created_at", "last_used_at", "expires_at", "revoked_at")
    list_select_related = ("site",)
    search_fields = ("prefix", "site__code", "site__name")
    exclude = ("sha256",)
    actions = ("revoke",)

    def has_revoke_permission(self, request: HttpRequest) -> bool:
        """People who may change tokens."""
        return request.user.has_perm("fleet.change_uploadtoken")

    @admin.action(description="Revoke the selected tokens", permissions=["revoke"])
    def revoke(self, request: HttpRequest, tokens: QuerySet[UploadToken]) -> None:
        """Refuse them from the next request on."""
        valid = tokens.filter(revoked_at=None)
        self.message_user(request, f"{valid.update(revoked_at=timezone.now())} tokens revoked.")
