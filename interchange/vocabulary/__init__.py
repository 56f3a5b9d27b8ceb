"""The words of the trade and their codes: leads, concepts, beats, lead sets, special values.

The facts are tables in ``tables/`` with their source and how sure they are beside each row: SEEN (read in the named
document), COMPUTED (follows by algebra, tested), MEMORY (from memory: read tolerantly), UNSURE (no writer relies on
it).  Each name is imported, and each table read, when it is first asked for.  Functions named after an ``id`` raise
KeyError for an unknown one; functions that look up what a file says return None or an empty tuple.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from interchange.vocabulary.beat_table import Beat, beat, beat_for_concept, beat_for_symbol, beats
    from interchange.vocabulary.codes import mdc_32bit, mdc_code
    from interchange.vocabulary.concept_table import (
        Concept,
        Scope,
        concept,
        concept_by_legacy,
        concept_by_mdc,
        concept_by_refid,
        concept_by_scp,
        concepts,
        concepts_by_mdc,
        concepts_by_wfdb,
        mdc_code_of,
    )
    from interchange.vocabulary.lead_table import (
        Lead,
        calculated_lead,
        channel_name,
        lead,
        lead_by_code,
        lead_by_legacy,
        lead_by_mdc,
        lead_by_refid,
        lead_by_scp,
        lead_for_channel,
        lead_named,
        leads,
        recorded_lead,
    )
    from interchange.vocabulary.set_table import LeadSet, Need, lead_set, lead_sets, lead_sets_by_code, lead_sets_by_scp
    from interchange.vocabulary.special_table import SpecialValue, special, special_values

__all__ = [
    "Beat",
    "Concept",
    "Lead",
    "LeadSet",
    "Need",
    "Scope",
    "SpecialValue",
    "beat",
    "beat_for_concept",
    "beat_for_symbol",
    "beats",
    "calculated_lead",
    "channel_name",
    "concept",
    "concept_by_legacy",
    "concept_by_mdc",
    "concept_by_refid",
    "concept_by_scp",
    "concepts",
    "concepts_by_mdc",
    "concepts_by_wfdb",
    "lead",
    "lead_by_code",
    "lead_by_legacy",
    "lead_by_mdc",
    "lead_by_refid",
    "lead_by_scp",
    "lead_for_channel",
    "lead_named",
    "lead_set",
    "lead_sets",
    "lead_sets_by_code",
    "lead_sets_by_scp",
    "leads",
    "mdc_32bit",
    "mdc_code",
    "mdc_code_of",
    "recorded_lead",
    "special",
    "special_values",
]

_HOME = {
    **dict.fromkeys(
        ("Beat", "beat", "beat_for_concept", "beat_for_symbol", "beats"),
        "beat_table",
    ),
    **dict.fromkeys(
        ("mdc_32bit", "mdc_code"),
        "codes",
    ),
    **dict.fromkeys(
        (
            "Concept",
            "Scope",
            "concept",
            "concept_by_legacy",
            "concept_by_mdc",
            "concept_by_refid",
            "concept_by_scp",
            "concepts",
            "concepts_by_mdc",
            "concepts_by_wfdb",
            "mdc_code_of",
        ),
        "concept_table",
    ),
    **dict.fromkeys(
        (
            "Lead",
            "calculated_lead",
            "channel_name",
            "lead",
            "lead_by_code",
            "lead_by_legacy",
            "lead_by_mdc",
            "lead_by_refid",
            "lead_by_scp",
            "lead_for_channel",
            "lead_named",
            "leads",
            "recorded_lead",
        ),
        "lead_table",
    ),
    **dict.fromkeys(
        ("LeadSet", "Need", "lead_set", "lead_sets", "lead_sets_by_code", "lead_sets_by_scp"),
        "set_table",
    ),
    **dict.fromkeys(
        ("SpecialValue", "special", "special_values"),
        "special_table",
    ),
}
"""Name -> module of this package."""


def __getattr__(name: str) -> Any:
    home = _HOME.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f"{__name__}.{home}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
