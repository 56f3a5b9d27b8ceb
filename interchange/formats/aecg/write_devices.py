"""Devices and people of a series: the recorder, the operator, the program that analysed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from interchange.formats.aecg.write_header import code_from
from interchange.formats.aecg.write_types import add, add_code, add_id, add_person, add_text
from interchange.model import Device, Identifier, Person

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["add_device_author", "add_operator", "add_recorder", "analysing", "device_name"]

DEVICE = {"classCode": "DEV", "determinerCode": "INSTANCE"}
ORGANISATION = {"classCode": "ORG", "determinerCode": "INSTANCE"}


def add_recorder(series: etree._Element, device: Device) -> None:
    """author/seriesAuthor: an id that is not the serial number belongs to the role."""
    role = add(add(series, "author", {"typeCode": "AUT"}), "seriesAuthor", {"classCode": "MANU"})
    others = [id for id in device.ids if id.value != device.serial]
    if others:
        add_id(role, "id", others[0])
    _content(add(role, "manufacturedSeriesDevice", DEVICE), device)
    if device.manufacturer:
        add_text(add(role, "manufacturerOrganization", ORGANISATION), "name", device.manufacturer)


def add_device_author(node: etree._Element, device: Device) -> None:
    """author/assignedEntity of an annotation set that a device made."""
    entity = add(add(node, "author", {"typeCode": "AUT"}), "assignedEntity", {"classCode": "ASSIGNED"})
    element = add(add(entity, "assignedAuthorType"), "assignedDevice", DEVICE)
    _content(element, device)
    if device.manufacturer:
        made = add(element, "playedManufacturedDevice", {"classCode": "MANU"})
        add_text(add(made, "manufacturerOrganization", ORGANISATION), "name", device.manufacturer)


def _content(element: etree._Element, device: Device) -> None:
    """Serial number (with its root where an id has one), type, model, software."""
    if device.serial:
        rooted = next((id for id in device.ids if id.value == device.serial and id.issuer), None)
        add_id(element, "id", rooted or Identifier(device.serial))
    kind = dict(device.extras).get("aecg.device-type")
    if kind:
        add_code(element, "code", code_from(kind))
    if device.model:
        add_text(element, "manufacturerModelName", device.model)
    if device.software:
        add_text(element, "softwareName", device.software[0])


def add_operator(series: etree._Element, person: Person | None) -> None:
    """secondaryPerformer: who ran the recorder."""
    if person is not None and (person.name is not None or person.ids):
        outer = add(series, "secondaryPerformer", {"typeCode": "SPRF"})
        add_person(add(outer, "seriesPerformer", {"classCode": "ASSIGNED"}), person, "assignedPerson")


def analysing(devices: Iterable[Device]) -> Device | None:
    """The first analysing device."""
    return next((device for device in devices if device.role == "analysing"), None)


def device_name(device: Device) -> str:
    """Model and software of a device, as the reader names an author."""
    return " ".join(part.strip() for part in (device.model, *device.software[:1]) if part and part.strip())
