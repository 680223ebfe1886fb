"""The public names of what happened."""

from sessions.choices import (
    AccessKind,
    Analyte,
    Anticoagulant,
    Buffer,
    EventKind,
    PostSampleMethod,
    RecordState,
    SampleTiming,
    Sex,
    Side,
    SiteUse,
    Technique,
)
from sessions.models.laboratory import BloodResult
from sessions.models.patient import AccessSite, CarePartner, Patient, VascularAccess
from sessions.models.prescription import Dialyser, Prescription
from sessions.models.treatment import Check, Event, Medicine, Reading, SiteUsed, TreatmentRecord

__all__ = [
    "AccessKind",
    "AccessSite",
    "Analyte",
    "Anticoagulant",
    "BloodResult",
    "Buffer",
    "CarePartner",
    "Check",
    "Dialyser",
    "Event",
    "EventKind",
    "Medicine",
    "Patient",
    "PostSampleMethod",
    "Prescription",
    "Reading",
    "RecordState",
    "SampleTiming",
    "Sex",
    "Side",
    "SiteUse",
    "SiteUsed",
    "Technique",
    "TreatmentRecord",
    "VascularAccess",
]
