"""The data and its constraints; no side effects here (see services)."""

from registry.models.base import PublicObject
from registry.models.catalogue import (
    Application,
    Connector,
    Design,
    GearboxFamily,
    Maker,
    PartNumber,
    Pin,
    Place,
    Position,
    PositionAlias,
    Supersession,
    part_key,
)
from registry.models.changes import Change
from registry.models.charts import ChartRevision, CurrentChart, ReliabilitySnapshot, SheetFinding, Variant
from registry.models.cohorts import FleetReport
from registry.models.decisions import AuditEntry, Decision, Dispute, DisputeMessage, Follow, Target
from registry.models.desk import CaseClaim, Notice, RevisionFetch
from registry.models.facts import FactAnswer, JobFact
from registry.models.fleet import (
    DistanceReading,
    Fitting,
    LifeLaw,
    MemberInvitation,
    Membership,
    Organisation,
    Vehicle,
)
from registry.models.invitations import Invitation
from registry.models.jobs import Job, JobCheck, JobEvent, JobPicture, JobSheet, UnitEvent
from registry.models.mirrors import MirrorItem, MirrorSource
from registry.models.operations import ClockRun, CodeUsed, RefreshTrouble, SignUpBlock, WorkerBeat
from registry.models.outcomes import OutcomeCounted
from registry.models.people import ApiToken, Contributor, LeadResistance, Meter, User, Workshop
from registry.models.sheets import Reading, Sheet, SheetPicture, SheetVersion, Unit, UnitMatch
from registry.models.webhooks import Webhook, WebhookDelivery
from registry.models.work import ColumnMapping, Work

__all__ = [
    "ApiToken",
    "Application",
    "AuditEntry",
    "CaseClaim",
    "Change",
    "ChartRevision",
    "ClockRun",
    "CodeUsed",
    "ColumnMapping",
    "Connector",
    "Contributor",
    "CurrentChart",
    "Decision",
    "Design",
    "Dispute",
    "DisputeMessage",
    "DistanceReading",
    "FactAnswer",
    "Fitting",
    "FleetReport",
    "Follow",
    "GearboxFamily",
    "Invitation",
    "Job",
    "JobCheck",
    "JobEvent",
    "JobFact",
    "JobPicture",
    "JobSheet",
    "LeadResistance",
    "LifeLaw",
    "Maker",
    "MemberInvitation",
    "Membership",
    "Meter",
    "MirrorItem",
    "MirrorSource",
    "Notice",
    "Organisation",
    "OutcomeCounted",
    "PartNumber",
    "Pin",
    "Place",
    "Position",
    "PositionAlias",
    "PublicObject",
    "Reading",
    "RefreshTrouble",
    "ReliabilitySnapshot",
    "RevisionFetch",
    "Sheet",
    "SheetFinding",
    "SheetPicture",
    "SheetVersion",
    "SignUpBlock",
    "Supersession",
    "Target",
    "Unit",
    "UnitEvent",
    "UnitMatch",
    "User",
    "Variant",
    "Vehicle",
    "Webhook",
    "WebhookDelivery",
    "Work",
    "WorkerBeat",
    "Workshop",
    "part_key",
]
