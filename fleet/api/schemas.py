"""The documents of the API, as the OpenAPI description shows them."""

from __future__ import annotations

from datetime import datetime
from typing import Literal
from uuid import UUID

from ninja import Field, Schema

from fleet.models import UploadState

Leading = Literal[
    "normal",
    "overcharge",
    "undercharge",
    "flow_restriction",
    "subcooler_valve_fault",
    "sensor_fault",
    "not_enough_data",
]


class Receipt(Schema):
    """The bytes are durably stored."""

    upload: UUID
    status: str = Field(description="Address to ask what became of the upload.")


class Reason(Schema):
    """Something that was left out or differed."""

    line: int | None
    column: str
    reason: str


class UploadStatus(Schema):
    """What became of an upload."""

    upload: UUID
    site: str
    system: str
    name: str
    received_at: datetime
    state: UploadState
    rows_accepted: int
    rows_left_out: int
    cells_left_out: int
    cells_differing: int
    unknown_columns: list[str]
    reasons: list[Reason] = Field(description="The first 100, by line.")


class Conditions(Schema):
    """Probabilities, which sum to 1."""

    normal: float
    overcharge: float
    undercharge: float
    flow_restriction: float
    subcooler_valve_fault: float
    sensor_fault: float


class RankedSystem(Schema):
    """A system; the score runs from 0 to 100."""

    system: str
    score: float
    leading: Leading
    conditions: Conditions
    coverage: float = Field(description="Share of running time that could be judged.")
    last_sample: datetime | None


class RankedSite(Schema):
    """A site, its systems highest first."""

    site: str
    rank: int
    score: float
    systems: list[RankedSystem]


class Ranking(Schema):
    """The ranking, highest first."""

    at: datetime
    sites: list[RankedSite]


class ProblemDetails(Schema):
    """RFC 9457 problem details."""

    type: str
    title: str
    status: int
    detail: str
