"""The model: one recording, whatever format it came from."""

from interchange.model.about import Acquisition, Device, Filters, Patient, Sex, Site, Study, Trial
from interchange.model.basic import Absent, AbsentFields, Code, Extras, Identifier, Moment, Person, PersonName, Quantity
from interchange.model.content import Mark, Measurement, Statement, Unread
from interchange.model.recording import Recording
from interchange.model.tracing import Channel, Kind, Origin, Tracing

__all__ = [
    "Absent",
    "AbsentFields",
    "Acquisition",
    "Channel",
    "Code",
    "Device",
    "Extras",
    "Filters",
    "Identifier",
    "Kind",
    "Mark",
    "Measurement",
    "Moment",
    "Origin",
    "Patient",
    "Person",
    "PersonName",
    "Quantity",
    "Recording",
    "Sex",
    "Site",
    "Statement",
    "Study",
    "Tracing",
    "Trial",
    "Unread",
]
