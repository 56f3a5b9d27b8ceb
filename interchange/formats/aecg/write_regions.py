"""Regions of interest around what is written: the leads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.formats.aecg.annotation_codes import lead_code
from interchange.formats.aecg.codes import ACT_CODE, OWN
from interchange.formats.aecg.write_types import add, add_code, add_mdc, is_token
from interchange.model import Code

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["add_lead_boundary", "add_lead_region", "add_region"]


def add_region(node: etree._Element, code: str) -> etree._Element:
    """A region of interest without boundaries, of that kind."""
    roi = add(add(node, "support", {"typeCode": "SPRT"}), "supportingROI", {"classCode": "ROIBND", "moodCode": "EVN"})
    add(roi, "code", {"code": code, "codeSystem": ACT_CODE, "codeSystemName": "ActCode"})
    return roi


def add_lead_region(node: etree._Element, lead: str) -> None:
    """A region that is one lead."""
    add_lead_boundary(add_region(node, "ROIPS"), lead)


def add_lead_boundary(roi: etree._Element, lead: str) -> None:
    """A boundary that names a lead or another channel."""
    boundary = add(add(roi, "component", {"typeCode": "COMP"}), "boundary", {"classCode": "OBS", "moodCode": "EVN"})
    code = lead_code(lead)
    if code is not None:
        add_mdc(boundary, "code", code)
    elif is_token(lead):
        add(boundary, "code", {"code": lead, "codeSystemName": OWN})
    else:
        add_code(boundary, "code", Code(None, None, lead))
