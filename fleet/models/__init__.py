"""What is kept in relational tables: one noun a file. Samples are in fleet.timeseries."""

from fleet.models.access import Membership, Role
from fleet.models.audit import AuditEntry
from fleet.models.client import Client
from fleet.models.day import PooledDay
from fleet.models.event import (
    READINGS,
    Event,
    EventChange,
    EventNote,
    EventState,
    SiteVisit,
    VisitOutcome,
)
from fleet.models.idempotency import IdempotencyKey
from fleet.models.invitation import Invitation
from fleet.models.lesson import Lesson
from fleet.models.mapping import LogMapping
from fleet.models.notice import News, NewsKind, Outgoing, Webhook
from fleet.models.organisation import Organisation
from fleet.models.person import Digest, PersonSettings
from fleet.models.share import ShareLink
from fleet.models.sign_in import SignInFailure
from fleet.models.site import Site
from fleet.models.system import IndoorUnit, System
from fleet.models.token import UploadToken
from fleet.models.upload import Upload, UploadState
from fleet.models.window import DueDay, Standing, Window

__all__ = [
    "READINGS",
    "AuditEntry",
    "Client",
    "Digest",
    "DueDay",
    "Event",
    "EventChange",
    "EventNote",
    "EventState",
    "IdempotencyKey",
    "IndoorUnit",
    "Invitation",
    "Lesson",
    "LogMapping",
    "Membership",
    "News",
    "NewsKind",
    "Organisation",
    "Outgoing",
    "PersonSettings",
    "PooledDay",
    "Role",
    "ShareLink",
    "SignInFailure",
    "Site",
    "SiteVisit",
    "Standing",
    "System",
    "Upload",
    "UploadState",
    "UploadToken",
    "VisitOutcome",
    "Webhook",
    "Window",
]
