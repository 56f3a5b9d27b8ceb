"""The report of a check: the verdict first, then what there is to look at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from typing import Any

from interchange._version import __version__
from interchange.checks.consistency import Sums
from interchange.checks.lead_sets import LeadSummary
from interchange.checks.view import View, listed, number
from interchange.findings import SEVERITIES, Finding
from interchange.leads import LIMB_LEADS
from interchange.model.lines import decimal
from interchange.records import dataclass

__all__ = ["AREAS", "CAUTIONS", "REPORT_VERSION", "Report", "verdict_of"]

REPORT_VERSION = 1

AREAS: tuple[tuple[str, str], ...] = (
    ("leads", "Leads"),
    ("consistency", "Do the leads fit together"),
    ("quality", "Recording quality"),
    ("plausibility", "Measurements and marks"),
    ("people", "Patient"),
    ("time", "Time"),
    ("identity", "Identity that is left"),
    ("set", "Files together"),
)
"""What findings touch, by the first part of the rule's id, in the order of a report; every other id is of a format."""

CAUTIONS = (
    "A check can miss faults and can raise false ones; passing it is no proof.",
    "Wires that were exchanged or electrodes that were misplaced cannot be told from the sums of leads.",
    "A flat line, a missing lead or a warning says nothing about the heart.",
    "This is not a diagnostic device. Local protocols and licensed clinicians decide.",
)

_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
          "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen")  # fmt: skip


_MANY = 6
"""Leads of a set from which on it is told as "so many of so many"."""


@dataclass(frozen=True, slots=True)
class Report:
    """What a check found.

    ``verdict``: one line for a glance.  ``lead_set``: which leads are there, which follow, which cannot be had.
    ``findings``: those of the file's format first, then those of the reader, then those on the content; the order is
    the same for the same input.  ``sums``: what the sums of limb leads say.  ``words``: fields of the recording that
    findings name as their places, each with its words.  ``status``: the exit status, 1 when any finding is an error,
    else 0.
    """

    verdict: str
    lead_set: LeadSummary
    findings: tuple[Finding, ...]
    sums: tuple[Sums, ...] = ()
    format: str | None = None
    words: tuple[tuple[str, str], ...] = ()

    @property
    def status(self) -> int:
        """1 when any finding is an error, else 0."""
        return int(any(finding.severity == "error" for finding in self.findings))

    def count(self, severity: str) -> int:
        """Number of findings of that severity."""
        return sum(finding.severity == severity for finding in self.findings)

    def groups(self) -> tuple[tuple[str, tuple[Finding, ...]], ...]:
        """Findings by what they touch, the file format first, the serious ones first within each; no group is empty.

        For people: a place that is a field of the recording is told in words ("V2", "tracing 1").
        """
        known, words = dict(AREAS), dict(self.words)
        findings = [replace(f, place=words[f.place]) if f.place in words else f for f in self.findings]
        named = {"Format": [f for f in findings if _area(f) not in known]}
        for area, title in AREAS:
            named[title] = [f for f in findings if _area(f) == area]
        return tuple(
            (title, tuple(sorted(found, key=lambda f: SEVERITIES.index(f.severity))))
            for title, found in named.items()
            if found
        )

    def as_json(self) -> dict[str, Any]:
        """The report as plain data for ``json.dumps``; microvolts are exact decimals or ``n/d`` as text."""
        return {
            "document": "interchange check",
            "version": REPORT_VERSION,
            "program": f"interchange {__version__}",
            "format": self.format,
            "verdict": self.verdict,
            "status": self.status,
            "counts": {severity: self.count(severity) for severity in SEVERITIES},
            "lead_set": _lead_set(self.lead_set),
            "sums": [_sums(entry) for entry in self.sums],
            "findings": [
                {"rule": f.rule, "severity": f.severity, "place": f.place, "reason": f.reason, "clause": f.clause}
                for f in self.findings
            ],
            "cautions": list(CAUTIONS),
        }


def _area(finding: Finding) -> str:
    return finding.rule.partition(".")[0]


def _lead_set(summary: LeadSummary) -> dict[str, Any]:
    return {
        "id": summary.id or None,
        "title": summary.title or None,
        "expected": summary.expected,
        "complete": summary.complete,
        "leads": list(summary.wanted),
        "present": list(summary.present),
        "derivable": [
            {
                "lead": name,
                "formula": how.formula,
                "from": list(how.sources),
                **({"condition": how.condition} if how.condition else {}),
            }
            for name, how in summary.derivable
        ],
        "stood_in": [{"lead": lead, "by": other} for lead, other in summary.stood_in],
        "missing": list(summary.missing),
        "extra": list(summary.extra),
        "duplicates": list(summary.duplicates),
        "calculated": list(summary.calculated),
        "empty": list(summary.empty),
        "unnamed": summary.unnamed,
    }


def _sums(entry: Sums) -> dict[str, Any]:
    residual = entry.residual
    return {
        "tracing": entry.strip.index,
        "sum": residual.relation,
        "says": entry.says,
        "largest_microvolts": decimal(residual.largest),
        "rounding_microvolts": decimal(residual.tolerance),
        "rms_microvolts": round(residual.rms, 3),
    }


def verdict_of(view: View, summary: LeadSummary, findings: Iterable[Finding]) -> str:
    """One line: which leads, how long, how fast, how much there is to look at."""
    found = list(findings)
    return f"{_leads(view, summary)}{_timing(view)}. {_to_look_at(found)}."


def _leads(view: View, summary: LeadSummary) -> str:
    if not view.recording.rhythms:
        return "No rhythm tracing"
    have, derivable = len(summary.present), len(summary.derivable)
    if not summary.wanted or (summary.extra and not summary.expected and len(summary.wanted) < _MANY):
        return _unknown_set(summary)
    total = len(summary.wanted)
    if set(summary.wanted) == set(LIMB_LEADS):
        limb = f"{_word(have)} of six limb leads{_following(have, derivable, total)}"
        text = f"{limb}{', and' if derivable else ' and'} no chest lead"
    elif total == 1:
        only = [*summary.present, *(other for _, other in summary.stood_in)]
        text = f"one lead, {only[0]}" if only else "no lead"
    else:
        text = f"{_word(have)} of {_word(total)} leads{_following(have, derivable, total)}"
    if summary.extra:
        text += f", and {listed(summary.extra)}"
    return _capital(text)


def _unknown_set(summary: LeadSummary) -> str:
    """Leads that make up no set of the table are named."""
    names, unnamed = (*summary.present, *summary.extra), summary.unnamed
    have = len(names)
    parts = [f"{_word(have)} {'lead' if have == 1 else 'leads'}, {listed(names)}"] if have else []
    if unnamed:
        parts.append(f"{_word(unnamed)} ECG {'channel' if unnamed == 1 else 'channels'} without the name of a lead")
    return _capital(" and ".join(parts)) or "No ECG lead"


def _following(have: int, derivable: int, total: int) -> str:
    if not derivable:
        return ""
    what = "the other" if have + derivable == total else "and"
    verb = "follows" if derivable == 1 else "follow"
    return f", {what} {_word(derivable)} {verb} exactly"


def _timing(view: View) -> str:
    main = view.main.tracing if view.main else next(iter(view.recording.rhythms), None)
    if main is None:
        return ""
    text = f", {_lasting(main.duration)}, {number(main.rate, 6)} samples/s"
    further = len(view.recording.rhythms) - 1
    if further:
        text += f", and {_word(further)} more {'tracing' if further == 1 else 'tracings'}"
    return text


def _lasting(duration: Fraction) -> str:
    if duration < 120:
        return f"{number(duration, 4)} s"
    minutes, rest = divmod(duration, 60)
    if minutes < 120:
        return f"{minutes} min" + (f" {number(rest, 3)} s" if rest >= 1 else "")
    return f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")


def _to_look_at(found: list[Finding]) -> str:
    errors = sum(f.severity == "error" for f in found)
    warnings = sum(f.severity == "warning" for f in found)
    if not errors and not warnings:
        return "Nothing to look at"
    spell = str if max(errors, warnings) >= len(_WORDS) else _word
    kinds = [(errors, "error"), (warnings, "warning")] if errors else [(warnings, "thing")]
    told = " and ".join(f"{spell(count)} {kind}{'' if count == 1 else 's'}" for count, kind in kinds if count)
    return _capital(f"{told} to look at")


def _word(count: int) -> str:
    return _WORDS[count] if count < len(_WORDS) else str(count)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
