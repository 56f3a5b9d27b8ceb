"""Compare two recordings field by field and sample by sample, whatever their formats.

What is printed quotes what differs: it is a patient document.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from interchange.cli.output import put, put_document, tell_damage, width

if TYPE_CHECKING:
    from interchange.compare import Comparison, Difference
    from interchange.model import Recording

__all__ = ["COMPARISON_VERSION", "add_arguments", "comparison_document", "comparison_text", "execute"]

USAGE = "A B [options]"
COMPARISON_VERSION = 1
KINDS = {"changed": "different", "left": "only in first", "added": "only in second"}
MOST_SHOWN = 40
MOST_CHARACTERS = 120


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("first", metavar="A", help="a recording")
    parser.add_argument("second", metavar="B", help="another")
    parser.add_argument("--json", action="store_true", help="print all differences as JSON")


def execute(arguments: argparse.Namespace) -> int:
    """Compare, and print; 0 for the same, 1 for a difference."""
    from interchange.api import read
    from interchange.compare import compare_recordings

    sides = (read(arguments.first), read(arguments.second))
    files = (arguments.first, arguments.second)
    for file, side in zip(files, sides, strict=True):
        tell_damage(file, side.findings)
    comparison = compare_recordings(*sides)
    if arguments.json:
        put_document(comparison_document(comparison, files, sides))
    else:
        put(comparison_text(comparison, files, sides, width()))
    return 0 if comparison.same else 1


def comparison_document(
    comparison: Comparison, files: tuple[str, str], sides: tuple[Recording, Recording]
) -> dict[str, Any]:
    """The comparison as plain data (schemas/comparison.schema.json)."""
    from interchange._version import __version__
    from interchange.model.lines import decimal

    first, second = (
        {"file": file, "format": side.format, "digests": [tracing.digest for tracing in side.tracings]}
        for file, side in zip(files, sides, strict=True)
    )
    return {
        "document": "interchange comparison",
        "version": COMPARISON_VERSION,
        "program": f"interchange {__version__}",
        "first": first,
        "second": second,
        "same": comparison.same,
        "samples_identical": comparison.samples_identical,
        "largest_sample_difference_microvolts": decimal(comparison.sample_error),
        "largest_time_difference_seconds": decimal(comparison.time_error),
        "differences": [
            {"path": d.path, "kind": KINDS[d.kind], "first": d.before, "second": d.after, "protected": d.protected}
            for d in comparison.differences
        ],
    }


def comparison_text(
    comparison: Comparison, files: tuple[str, str], sides: tuple[Recording, Recording], columns: int = 96
) -> str:
    """The comparison for people: the answer first, then what differs, samples before words."""
    from interchange.formats import by_name
    from interchange.show.layout import wrapped

    names = [f"{f} ({by_name(s.format).title})" if s.format else f for f, s in zip(files, sides, strict=True)]
    lines = [f"A: {names[0]}", f"B: {names[1]}", "", _answer(comparison), _samples(comparison)]
    for kind, title in (("changed", "Different:"), ("left", "Only in A:"), ("added", "Only in B:")):
        members = [d for d in comparison.differences if d.kind == kind]
        if members:
            holder = sides[1] if kind == "added" else sides[0]
            lines += ["", title, *(f"  {_difference(d, holder)}" for d in members[:MOST_SHOWN])]
            if len(members) > MOST_SHOWN:
                lines.append(f"  and {len(members) - MOST_SHOWN} more (--json lists all)")
    return "\n".join(row for line in lines for row in wrapped(line, columns, hanging=4))


def _answer(comparison: Comparison) -> str:
    count = len(comparison.differences)
    if not count:
        return "The same: no field differs."
    return f"{count} difference{'' if count == 1 else 's'}."


def _samples(comparison: Comparison) -> str:
    from interchange.show.words import number

    if comparison.samples_identical:
        return "Samples identical: every sample of every lead, its value and its time."
    errors = f"{number(comparison.sample_error)} microvolts, {number(comparison.time_error * 1000)} ms"
    if comparison.same_samples:
        largest = f": largest difference {errors}" if comparison.sample_error or comparison.time_error else ""
        return f"Samples the same within a thousandth of a step{largest}."
    kinds = {_kind(d) for d in comparison.differences if d.protected in ("signal", "timing", "leads")}
    answer = f"{' AND '.join(kind for kind in _KINDS if kind in kinds)} DIFFER"
    if comparison.sample_error or comparison.time_error:
        return f"{answer}: largest difference of a sample {errors}."
    return (
        f"{answer}." if kinds & _OF_SAMPLES else f"{answer}. Every sample that both have is the same, value and time."
    )


_KINDS = ("SAMPLES", "GAPS", "UNITS", "SAMPLE TIMES", "TRACINGS", "LEADS", "ACQUISITION TIMES")
_OF_SAMPLES = frozenset({"SAMPLES", "GAPS", "UNITS", "SAMPLE TIMES"})


def _kind(difference: Difference) -> str:
    """What a difference of signal, timing or leads is about."""
    parts = [step.partition("[")[0] for step in difference.path.split(".")]
    if parts[0] != "tracings":
        return "ACQUISITION TIMES"
    if difference.protected == "timing":
        return "SAMPLE TIMES"
    if difference.protected == "leads" or parts[1:] == ["channels"]:
        return "LEADS"
    return {"samples": "SAMPLES", "missing": "GAPS", "unit": "UNITS"}.get(parts[-1], "TRACINGS")


def _difference(difference: Difference, holder: Recording) -> str:
    """The field in words, and its sides.  ``holder``: the recording whose indices the path has."""
    from interchange.receipt.words import field_words

    before, after = (_cut(text) for text in (difference.before, difference.after))
    sides = f"{before} | {after}" if difference.kind == "changed" else before or after
    return f"{field_words(difference.path, holder)}: {sides}" + (
        f"  [{difference.protected}]" if difference.protected else ""
    )


def _cut(text: str | None) -> str:
    if text is None:
        return ""
    return text if len(text) <= MOST_CHARACTERS else f"{text[:100]} ... ({len(text)} characters)"
