"""The normative edition of 2009: the same message with other names and another order.

Written messages are built in the form of R1-2004; this turns one into the form of PORT_MT020001UV01 (HL7 V3 Normative
Edition 2009).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.formats.aecg.markup import HL7, XSI, local_name

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["to_2009"]

RENAMED = {
    "subjectFindingComment": "findingComment",
    "supportingROI": "rOI",
    "derivedSeries": "series",
    "playedManufacturedDevice": "asManufacturedDevice",
    "identification": "asIdentifiedEntity",
}
ORDER = {
    "AnnotatedECG": ("id", "code", "text", "effectiveTime", "confidentialityCode", "reasonCode", "location",
                     "definition", "controlVariable", "component", "pertainsTo", "componentOf"),
    "clinicalTrial": ("id", "title", "activityTime", "responsibleParty", "author", "location", "componentOf"),
    "series": ("id", "code", "effectiveTime", "secondaryPerformer", "author", "support", "controlVariable", "component",
               "subjectOf", "derivation"),
}  # fmt: skip


def to_2009(root: etree._Element) -> None:
    """Change a message in the form of R1-2004, in place, into that of 2009."""
    prefix = f"{{{HL7}}}"
    for node in list(root.iter(*(prefix + name for name in RENAMED))):
        node.tag = prefix + RENAMED[local_name(node)]
    for node in list(root.iter(f"{prefix}assignedAuthorType")):
        parent = node.getparent()
        if parent is not None:
            for child in node:
                node.addprevious(child)
            parent.remove(node)
    for node in root.iter(f"{prefix}componentOf"):
        _trial_branch(node, prefix)
    for name, order in ORDER.items():
        rank = {prefix + child: index for index, child in enumerate(order)}
        for node in list(root.iter(prefix + name)):
            node[:] = sorted(node, key=lambda child: rank.get(str(child.tag), -1))


def _trial_branch(node: etree._Element, prefix: str) -> None:
    """A recording of no trial leaves the branch out, as the schema of 2009 provides for it."""
    trial = node.find(f"{prefix}clinicalTrial")
    id = trial.find(f"{prefix}id") if trial is not None else None
    if trial is not None and id is not None and len(trial) == 1 and id.get("nullFlavor") == "NA":
        node.remove(trial)
        node.set(f"{{{XSI}}}nil", "true")
        node.set("nullFlavor", "NA")
