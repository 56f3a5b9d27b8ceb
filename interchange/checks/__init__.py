"""Can the receiving side use this recording, and if not, why?

Rules on the content of a recording, whatever format it came from: lead sets, consistency of the leads, recording
quality, measurements and marks, patient, time, and recordings together.  A rule is a row beside the function that
tests it; :data:`RULES` is the catalogue.  Severity *error* is kept for what follows from definitions or published
text; thresholds of this project give notes and warnings, and say so.

The checks look; they change nothing and diagnose nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import fields, replace

from interchange.checks import (
    collection,
    consistency,
    lead_sets,
    levels,
    marks,
    people,
    plausibility,
    quality,
    sameness,
    setting,
)
from interchange.checks import times as times_
from interchange.checks.collection import Summary, check_collection, summary_of
from interchange.checks.config import CheckConfig, DeviceDefaults, Limit, Threshold, limits, load_config, thresholds
from interchange.checks.lead_sets import LeadSummary, summarise
from interchange.checks.report import AREAS, CAUTIONS, Report, verdict_of
from interchange.checks.view import View, look_at
from interchange.errors import UsageError
from interchange.findings import Finding, Rule
from interchange.model import Recording
from interchange.vocabulary import lead_set

__all__ = [
    "AREAS",
    "CAUTIONS",
    "RULES",
    "CheckConfig",
    "DeviceDefaults",
    "LeadSummary",
    "Limit",
    "Report",
    "Summary",
    "Threshold",
    "build_report",
    "check_collection",
    "check_recording",
    "limits",
    "load_config",
    "summary_of",
    "thresholds",
]

_OF_ONE = (lead_sets, sameness, consistency, setting, quality, plausibility, marks, levels, people, times_)

_FIELD = re.compile(rf"(?:{'|'.join(entry.name for entry in fields(Recording))})[.\[]")
"""How the path of a field in a recording begins, below the recording itself."""

RULES: tuple[Rule, ...] = tuple(rule for module in (*_OF_ONE, collection) for rule in module.RULES)
"""Every rule of this package, in the order of the areas."""


def check_recording(recording: Recording, config: CheckConfig | None = None) -> tuple[Finding, ...]:
    """What there is to say about the content of a recording, in a fixed order."""
    used = config or CheckConfig()
    return tuple(used.applied(_findings(look_at(recording, used))))


def _findings(view: View) -> Iterator[Finding]:
    for module in _OF_ONE:
        yield from module.check(view)


def build_report(
    recording: Recording,
    format_findings: Iterable[Finding],
    expect: str | None = None,
    config: CheckConfig | None = None,
) -> Report:
    """The report on a recording.

    ``format_findings``: conformance of the file.  ``expect``: id of a lead set whose incompleteness is an error, in
    place of that of the configuration; UsageError where the table has no such set.
    """
    used = config or CheckConfig()
    if expect is not None:
        used = replace(used, expect=expect)
    if used.expect is not None:
        try:
            lead_set(used.expect)
        except KeyError:
            raise UsageError("there is no such lead set", "expect") from None
    view = look_at(recording, used)
    outer = tuple(dict.fromkeys((*format_findings, *recording.findings)))
    findings = tuple(used.applied(iter((*outer, *_findings(view)))))
    summary = summarise(view, used.expect)
    sums = tuple(entry for strip in view.strips for entry in consistency.sums(view, strip))
    verdict = verdict_of(view, summary, findings)
    return Report(verdict, summary, findings, sums, recording.format, _words(findings, recording))


def _words(findings: Iterable[Finding], recording: Recording) -> tuple[tuple[str, str], ...]:
    """Places of findings that are fields of the recording, with their words."""
    from interchange.receipt.words import field_words

    places = dict.fromkeys(f.place for f in findings if _FIELD.match(f.place))
    return tuple((place, field_words(place, recording)) for place in places)
