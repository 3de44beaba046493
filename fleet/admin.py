"""The administration site: what a service company looks up or mends by hand. No samples."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers

from fleet.models import (
    AuditEntry,
    Client,
    DueDay,
    Event,
    IndoorUnit,
    Membership,
    Organisation,
    Outgoing,
    Site,
    SiteVisit,
    Standing,
    System,
    Upload,
    UploadToken,
)
from fleet.models.token import ROTATED_LASTS
from fleet.pages import record


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


@admin.register(Organisation)
class OrganisationAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Service companies that share the installation."""

    list_display = ("name", "code")


@admin.register(AuditEntry)
class AuditEntryAdmin(ReadOnly):
    """The record of all organisations."""

    list_display = ("at", "organisation", "name", "what", "about", "address")
    list_select_related = ("organisation",)
    search_fields = ("name", "what", "about")


@admin.register(Outgoing)
class OutgoingAdmin(ReadOnly):
    """Mails and calls, and what became of them; not what they say, which may open an account."""

    list_display = ("key", "made_at", "attempts", "sent_at", "given_up_at", "failure")
    exclude = ("text",)


@admin.register(Client)
class ClientAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Clients."""

    list_display = ("name", "code", "organisation")
    list_select_related = ("organisation",)
    list_filter = ("organisation",)
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

    list_display = ("user", "organisation", "role")
    list_select_related = ("user", "organisation")
    list_filter = ("role", "organisation")
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
    """Tokens without their secret, which is shown once: when one is made or replaced."""

    list_display = ("prefix", "site", "created_at", "last_used_at", "expires_at", "revoked_at")
    list_select_related = ("site",)
    search_fields = ("prefix", "site__code", "site__name")
    exclude = ("sha256",)
    actions = ("revoke", "rotate")

    def has_add_permission(self, request: HttpRequest, *_: Any) -> bool:
        """People who may make tokens."""
        return bool(request.user.has_perm("fleet.add_uploadtoken"))

    def get_fields(self, request: HttpRequest, obj: UploadToken | None = None) -> Any:
        """Of a new one, what is to be chosen."""
        return ("site", "expires_at") if obj is None else super().get_fields(request, obj)

    def save_model(self, request: HttpRequest, obj: UploadToken, *_: Any) -> None:
        """Draw the secret and keep its digest."""
        obj.text = obj.draw()
        obj.save()
        record.note(request, "made a token", obj)

    def response_add(self, request: HttpRequest, obj: UploadToken, *_: Any) -> HttpResponse:
        """Show it, this once."""
        return self._shown(request, [(obj, obj.text)])

    def has_revoke_permission(self, request: HttpRequest) -> bool:
        """People who may change tokens."""
        return bool(request.user.has_perm("fleet.change_uploadtoken"))

    @admin.action(description="Revoke the selected tokens", permissions=["revoke"])
    def revoke(self, request: HttpRequest, tokens: QuerySet[UploadToken]) -> None:
        """Refuse them from the next request on."""
        valid = list(tokens.filter(revoked_at=None))
        for token in valid:
            token.revoke(timezone.now())
            record.note(request, "revoked a token", token)
        self.message_user(request, f"{len(valid)} tokens revoked.")

    @admin.action(description="Replace the selected tokens", permissions=["revoke"])
    def rotate(self, request: HttpRequest, tokens: QuerySet[UploadToken]) -> HttpResponse:
        """A new token in the place of each, which lasts a day more."""
        made = []
        for token in tokens.filter(revoked_at=None):
            made.append(UploadToken.objects.rotate(token, timezone.now(), ROTATED_LASTS))
            record.note(request, "replaced a token", token)
        return self._shown(request, made)

    def _shown(self, request: HttpRequest, made: list[tuple[UploadToken, str]]) -> HttpResponse:
        context = {**self.admin_site.each_context(request), "made": made, "title": "New tokens"}
        answer = render(request, "admin/fleet/uploadtoken/made.html", context)
        add_never_cache_headers(answer)
        return answer
