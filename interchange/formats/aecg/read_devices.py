"""Devices: the recorder of a series and the programs that made annotations."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from interchange.formats.aecg.datatypes import code_of, identifier, name_of, text_of
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.read_header import code_line
from interchange.model import Device, Identifier

__all__ = ["analysing_device", "is_bare", "recorder"]


def recorder(series: Node, log: Log) -> Device | None:
    """The device that recorded a series, with the names of all generations."""
    author = series.take("author")
    role = author.take_any("seriesAuthor", "manufacturedProduct") if author else None
    if role is None:
        return None
    if role.name == "manufacturedProduct":
        log.add("aecg.older-names", role)
    role_id = identifier(role.take("id"), log)
    node = role.take_any("manufacturedSeriesDevice", "manufacturedEcgDevice")
    device = _device(node, "acquiring", role_id, log)
    maker = role.take("manufacturerOrganization")
    return replace(device, manufacturer=name_of(maker.take("name")) if maker else None) if maker else device


def analysing_device(node: Node, log: Log) -> Device:
    """The device that made a set of annotations."""
    device = _device(node, "analysing", None, log)
    made = node.take_any("playedManufacturedDevice", "asManufacturedDevice")
    maker = made.take("manufacturerOrganization") if made else None
    return replace(device, manufacturer=name_of(maker.take("name"))) if maker else device


def is_bare(device: Device) -> bool:
    """Whether an analysing device is a name and nothing else: that name is an author and no machine to list."""
    return device.role == "analysing" and device == Device("analysing", model=device.model)


def _device(node: Node | None, role: Literal["acquiring", "analysing"], role_id: Identifier | None, log: Log) -> Device:
    """Model, software, ids; an id without a root is the serial number, and so is the first one with a root."""
    if node is None:
        return Device(role, ids=(role_id,) if role_id else ())
    ids = [role_id] if role_id else []
    serial: str | None = None
    for entry in node.takes("id"):
        id = identifier(entry, log)
        if id is None:
            continue
        serial = serial or id.value
        if id.issuer is not None or id.value != serial:
            ids.append(id)
    kind = code_of(node.take("code"), log)
    software = text_of(node.take("softwareName"))
    return Device(
        role,
        model=text_of(node.take("manufacturerModelName")),
        serial=serial,
        software=(software,) if software else (),
        ids=tuple(ids),
        extras=(("aecg.device-type", code_line(kind)),) if kind else (),
    )
