"""Pages that only managers may open: whoever else asks is told that they are not there."""

from __future__ import annotations

from django.http import Http404, HttpRequest

from fleet import access
from fleet.models import Role


def organisation_or_404(request: HttpRequest) -> int:
    """The organisation of the manager who asks. Raises Http404: somebody else does."""
    organisation = access.organisation_of(request.user)
    if organisation is None or access.role_of(request.user) is not Role.MANAGER:
        raise Http404
    return organisation
