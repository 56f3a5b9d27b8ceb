"""Channel Source: codes to leads and back (PS3.16 CID 3001, PS3.3 C.10.9.1.4).

The code decides; a label only where there is no code that is known, and that is a finding.  A lead without a code of
its own is written with the broader code that the lead table names, its own name as the label.
"""

from __future__ import annotations

from typing import Final

from interchange.formats.dicom.view import CodeItem, View
from interchange.vocabulary import (
    Lead,
    channel_name,
    lead_by_code,
    lead_by_legacy,
    lead_for_channel,
    lead_named,
    recorded_lead,
)

__all__ = ["OWN_SCHEME", "OWN_SCHEME_NAME", "channel_source", "lead_of"]

OWN_SCHEME: Final = "99INTERCHANGE"
OWN_SCHEME_NAME: Final = "Signals and concepts without a code of their own, named by the converter interchange"
UNSPECIFIED: Final = "2:0"


def lead_of(channel: View) -> tuple[str, str | None, bool]:
    """(name, label, whether the lead was calculated) of a channel definition item.

    ``label`` is how the source names it where that differs from the name.
    """
    label = channel.text("ChannelLabel")
    source = channel.code("ChannelSourceSequence") or CodeItem("", "", "")
    place = channel.at("ChannelSourceSequence")
    if source.scheme == OWN_SCHEME:
        return label or source.meaning or source.value, None, False
    lead = _coded_lead(source, channel, place)
    named = lead_named(label) if label else None
    if lead is not None and lead.mdc_code == UNSPECIFIED:
        name = label or source.meaning or lead.id
        return (channel_name(named), _other(label, channel_name(named)), False) if named else (name, None, False)
    if lead is not None and named is not None and not named.mdc_code and named.nearest_code == lead.mdc_code:
        lead = named
    if lead is None:
        lead = named or (lead_named(source.meaning) if source.meaning else None)
        if lead is None:
            channel.context.tolerate("lead-unknown", place)
            return label or source.meaning or source.value or "unspecified", None, False
        channel.context.tolerate_once("lead-by-label", place)
    name = channel_name(recorded_lead(lead))
    return name, _other(label, name), lead.origin == "derived"


def _other(label: str | None, name: str) -> str | None:
    return label if label and label != name else None


def _coded_lead(source: CodeItem, channel: View, place: str) -> Lead | None:
    if source.scheme == "MDC":
        return lead_by_code(source.value)
    if source.scheme == "SCPECG":
        channel.context.tolerate_once("retired-lead-scheme", place)
        return lead_by_legacy(source.value)
    return None


def channel_source(name: str, is_voltage: bool) -> tuple[CodeItem, bool]:
    """The code to write for a channel of that name, and whether the name must stand in the label.

    A voltage whose name is no lead is an unspecified lead; any other signal gets a code of the project's own scheme.
    """
    lead = lead_for_channel(name)
    if lead is None and not is_voltage:
        return CodeItem("SIGNAL", OWN_SCHEME, name), True
    if lead is None:
        return CodeItem(UNSPECIFIED, "MDC", "Unspecified lead"), True
    if lead.dicom_code:
        return CodeItem(lead.dicom_code, "MDC", lead.dicom_meaning), False
    nearest = lead_by_code(lead.nearest_code) if lead.nearest_code else None
    if nearest is not None and nearest.dicom_code:
        return CodeItem(nearest.dicom_code, "MDC", nearest.dicom_meaning), True
    return CodeItem(
        lead.mdc_code or UNSPECIFIED, "MDC", lead.meaning[:64] if lead.mdc_code else "Unspecified lead"
    ), True
