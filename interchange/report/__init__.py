"""A report to read in a browser or on paper: one page in one file, and an index of a folder.

Nothing is loaded and no script runs; everything from the recording is escaped.  A report is a patient document.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from interchange.draw.about import id_lines, identity_line, moment_text, name_text
from interchange.draw.options import DrawOptions
from interchange.formats import by_name
from interchange.records import dataclass
from interchange.report.leads import lead_section
from interchange.report.markup import Html, link, section, tag
from interchange.report.page import page
from interchange.report.parts import (
    caution_section,
    check_section,
    details_section,
    marks_section,
    measured_section,
    statements_section,
    unread_section,
)
from interchange.report.receipt_part import receipt_section
from interchange.report.tracing import pictures, tracing_section

if TYPE_CHECKING:
    from interchange.checks import Report
    from interchange.model import Recording
    from interchange.receipt import Receipt

__all__ = ["Subject", "receipt_page", "recording_page"]


@dataclass(frozen=True, slots=True)
class Subject:
    """A recording with its check: ``file`` as it is to be shown, ``sha256`` of the file where there is one."""

    file: str
    recording: Recording
    report: Report
    sha256: str = ""


PLACES = (
    ("check", "Check"),
    ("leads", "Leads"),
    ("tracing", "Tracing"),
    ("measured", "Measurements"),
    ("statements", "Statements"),
    ("marks", "Marks"),
    ("recording", "Recording"),
    ("unread", "Not read"),
    ("cautions", "Cautions"),
)


def recording_page(
    subject: Subject,
    options: DrawOptions | None = None,
    *,
    receipt: Receipt | None = None,
    back: tuple[str, str] | None = None,
) -> bytes:
    """The report on one recording; ``receipt`` of the conversion that it came from, ``back`` = (address, words)."""
    places = list(PLACES)
    extra = []
    if receipt is not None:
        places.insert(1, ("receipt", "Conversion"))
        extra = [receipt_section(receipt)]
    parts = _parts(subject, options or DrawOptions())
    return page(f"ECG report: {subject.file}", _head(subject, back), places, [parts[0], *extra, *parts[1:]])


def receipt_page(
    receipt: Receipt,
    file: str,
    target: Subject | None = None,
    source: Subject | None = None,
    options: DrawOptions | None = None,
    missing: Sequence[str] = (),
) -> bytes:
    """The report on a conversion: the receipt, and the files themselves as far as they were at hand.

    ``file``: the receipt's name; ``missing``: why a file is not shown.  Where samples, leads or times changed and both
    files are there, both tracings are shown.
    """
    chosen = options or DrawOptions()
    content = [receipt_section(receipt)]
    places = [("receipt", "Conversion")]
    remarks = [tag("p", text, class_="note") for text in missing]
    if target is not None and source is not None and _signal_differs(receipt):
        places.append(("both", "Before and after"))
        content.append(_both(source, target, chosen))
    if target is not None:
        places += PLACES
        content += _parts(target, chosen)
        head = _head(target, None)
    else:
        places += [("unread", "Not read"), ("cautions", "Cautions")]
        content += [unread_section(receipt.unread), caution_section()]
        head = [tag("h1", "ECG conversion")]
    head.append(tag("p", ["Receipt ", tag("bdi", file)], class_="note"))
    return page(f"ECG conversion: {file}", [*head, *remarks], places, content)


def _parts(subject: Subject, options: DrawOptions) -> list[Html]:
    recording = subject.recording
    return [
        check_section(subject.report),
        lead_section(subject.report.lead_set),
        tracing_section(recording, options),
        measured_section(recording),
        statements_section(recording.statements),
        marks_section(recording),
        details_section(recording),
        unread_section(recording.unread),
        caution_section(),
    ]


def _head(subject: Subject, back: tuple[str, str] | None) -> list[Html]:
    """Who, when, which file."""
    recording = subject.recording
    patient, acquisition = recording.patient, recording.acquisition
    kind = by_name(recording.format).title if recording.format else "made from arrays"
    found = [tag("p", link(*back))] if back else []
    found += [
        tag("p", ["ECG recording report: ", tag("bdi", subject.file), f" ({kind})"], class_="note"),
        tag("h1", tag("bdi", name_text(patient))),
        *(tag("p", tag("strong", line)) for line in id_lines(patient)[:3]),
        tag("p", f"{identity_line(patient)}"),
        tag("p", f"Recorded {moment_text(acquisition.time, acquisition)}", class_="lead"),
    ]
    if recording.deidentification:
        found.append(tag("p", "De-identified; may still be personal data.", class_="alarm"))
    if subject.sha256:
        found.append(tag("p", f"SHA-256 of the file {subject.sha256}", class_="note"))
    return found


def _signal_differs(receipt: Receipt) -> bool:
    changed = (*receipt.changed, *receipt.left)
    return any(entry.path.startswith("tracings") for entry in changed)


def _both(source: Subject, target: Subject, options: DrawOptions) -> Html:
    """The tracings of both files, one below the other."""
    content = [
        tag("h3", ["Before: ", tag("bdi", source.file)]),
        *pictures(source.recording, options, 2),
        tag("h3", ["After: ", tag("bdi", target.file)]),
        *pictures(target.recording, options, 3),
    ]
    return section("both", "Before and after", content, "Samples, leads or times differ; the list above says how.")
