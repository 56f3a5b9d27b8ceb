"""The parts of a report on one recording: check, details, measurements, statements, marks, what was not read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from interchange.checks import CAUTIONS as CHECK_CAUTIONS
from interchange.checks import Report
from interchange.draw.about import author_text, confirmation, measurement_pairs, moment_text, st_caution
from interchange.draw.levels import level_table
from interchange.findings import SEVERITIES, Finding
from interchange.model import Measurement, Recording, Statement, Unread
from interchange.report.markup import Html, cell_list, lines, section, table, tag
from interchange.show.about import device_lines, patient_lines, recorded_lines, trial_lines
from interchange.show.measured import CELLS, LEVELS, mark_lines
from interchange.show.signal import lead_lines, tracing_lines
from interchange.show.words import coded, concept_label, number

__all__ = [
    "caution_section",
    "check_section",
    "details_section",
    "finding_list",
    "marks_section",
    "measured_section",
    "statements_section",
    "unread_section",
]

MOST_ALIKE = 20
MOST_ROWS = 500

CAUTIONS = (
    "This is not a diagnostic device: it moves, checks and shows data. It makes no diagnosis and must not be the only "
    "means of reading a tracing.",
    "Statements are shown as received, with who said them, and count as unconfirmed unless it says who confirmed them. "
    "They were not verified, translated or put in another order.",
    "Measurements are those of the source; a value that this program calculated says so.",
    "Local protocols and licensed clinicians decide on treatment, transport and alarms.",
    "Leads that were calculated or estimated are marked; where the electrodes were is shown as far as it was said.",
    "Checks of quality and placement can miss faults and can raise false ones; passing them is no proof.",
    "Times are those of the device unless it says otherwise; clocks may be wrong.",
    "Missing, unknown and zero are three different things, and the page says which.",
    "What a conversion changed or left behind is listed with it, every time.",
    "De-identified data may still be personal data.",
    "A flat line, a missing lead or a warning never means asystole and never means normal.",
    "A screen is not true to scale: count squares. On paper, measure the ruler or a calibration pulse first.",
)


def check_section(report: Report) -> Html:
    """The verdict, how much there is to look at, and the findings by what they touch."""
    counts = ", ".join(
        f"{count} {severity}{'' if count == 1 else 's'}" for severity in SEVERITIES if (count := report.count(severity))
    )
    content = [
        tag("p", report.verdict, class_="lead"),
        tag("p", "No error was found." if report.status == 0 else "Errors were found: see below.", class_="note"),
    ]
    for title, findings in report.groups():
        content += [tag("h3", title), finding_list(findings)]
    if not report.findings:
        content.append(tag("p", "There is nothing to report."))
    content.append(lines(CHECK_CAUTIONS, "note"))
    return section("check", "Check", content, counts)


def finding_list(findings: Sequence[Finding]) -> Html:
    """Findings, those that are alike counted from the twentieth on."""
    alike: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        alike[finding.rule].append(finding)
    items: list[Html] = []
    for members in alike.values():
        items += [_finding(finding) for finding in members[:MOST_ALIKE]]
        if len(members) > MOST_ALIKE:
            items.append(tag("li", f"and {len(members) - MOST_ALIKE} more of {members[0].rule}"))
    return tag("ul", items, class_="findings")


def _finding(finding: Finding) -> Html:
    about = " · ".join(part for part in (finding.rule, finding.place, finding.clause) if part)
    return tag("li", [tag("b", f"{finding.severity}: "), finding.reason, tag("span", about)], class_=finding.severity)


def details_section(recording: Recording) -> Html:
    """Patient, circumstances, machines, leads, tracings, trial, document: the lines that ``show`` prints."""
    pairs = [
        ("Patient", patient_lines(recording.patient)),
        ("Recorded", recorded_lines(recording.acquisition)),
        ("Device", device_lines(recording.acquisition)),
        ("Leads", lead_lines(recording)),
        ("Tracings", [line.strip() for line in tracing_lines(recording)]),
        ("Trial", trial_lines(recording.trial)),
        ("Document", _document(recording)),
    ]
    return section("recording", "Recording", [cell_list((term, found) for term, found in pairs if found)])


def _document(recording: Recording) -> list[str]:
    found = [f"id {recording.document_id.value}"] if recording.document_id else []
    found += [f"de-identified: {coded(code)}" for code in recording.deidentification]
    found += [f"digest of tracing {n}: {t.digest}" for n, t in enumerate(recording.tracings, 1)]
    return found


def measured_section(recording: Recording) -> Html:
    """Global measurements, J-point and ST levels, everything else that was measured per lead."""
    content: list[Html] = []
    pairs = measurement_pairs(recording)
    if pairs:
        content.append(table("Of the whole recording", ("Measurement", "Value"), pairs[:MOST_ROWS], numbers=(1,)))
    levels = level_table(recording)
    if levels is not None:
        rows = [(lead, *(cells[place] for _, cells in levels.rows)) for place, lead in enumerate(levels.leads)]
        heads = ("Lead", *(name for name, _ in levels.rows))
        foot = f"Microvolts; in brackets millimetres at 10 mm/mV. {st_caution(recording)}"
        numbers = range(1, len(heads))
        levels_part = table("J point and ST levels per lead", heads, rows[:MOST_ROWS], numbers=numbers, foot=foot)
        content.append(tag("div", levels_part))
    content = [tag("div", content, class_="side"), *_per_lead(recording)] if content else _per_lead(recording)
    if not content:
        content.append(tag("p", "The file has no measurements."))
    return section("measured", "Measurements", content, "As the source has them; not verified.")


def _per_lead(recording: Recording) -> list[Html]:
    found = [item for item in recording.measurements if item.lead is not None and item.concept not in LEVELS]
    if not found:
        return []
    held = dict.fromkeys(name for tracing in recording.tracings for name in tracing.names)
    leads = [name for name in held if any(item.lead == name for item in found)]
    leads += [name for name in dict.fromkeys(item.lead or "" for item in found) if name not in held]
    cells: dict[tuple[str, str], list[str]] = defaultdict(list)
    heads = dict.fromkeys(_head(item) for item in found)
    for item in found:
        cells[item.lead or "", _head(item)].append(_cell(item))
    rows = [(lead, *(" | ".join(cells[lead, head]) for head in heads)) for lead in leads[:MOST_ROWS]]
    return [table("Other measurements per lead", ("Lead", *heads), rows, numbers=range(1, len(heads) + 1))]


def _head(item: Measurement) -> str:
    unit = f", {item.unit}" if item.unit and item.unit != "1" else ""
    beat = f", beat type {item.beat}" if item.beat is not None else ""
    return f"{concept_label(item)}{unit}{beat}"


def _cell(item: Measurement) -> str:
    if item.value is not None:
        return number(item.value).replace("-", "−")
    return item.text or (CELLS[item.absent] if item.absent else "–")


def statements_section(statements: Sequence[Statement]) -> Html:
    """Every statement with who said it and whether anybody confirmed it."""
    if not statements:
        return section("statements", "Statements", [tag("p", "The file has no statements.")])
    open_ = sum(not item.confirmed for item in statements)
    warn = [tag("p", f"{open_} of {len(statements)} are not confirmed.", class_="alarm")] if open_ else []
    rows = [_statement(item) for item in statements[:MOST_ROWS]]
    heads = ("Statement", "Status", "Author", "Time")
    return section("statements", "Statements", [*warn, table("Statements as received", heads, rows, wide=(1,))])


def _statement(item: Statement) -> tuple[str, ...]:
    kind = "" if item.kind == "interpretation-statement" else f"{item.kind.replace('-', ' ')}: "
    codes = "".join(f" [{coded(code)}]" for code in item.codes)
    group = f" (interpretation {item.group + 1})" if item.group else ""
    when = moment_text(item.time) if item.time else "not said"
    return (
        f"{kind}{item.text or '(no text)'}{codes}{group}",
        confirmation(item),
        author_text(item).removeprefix("said by "),
        when,
    )


def marks_section(recording: Recording) -> Html:
    """How many marks of which kind."""
    found = mark_lines(recording)
    return section("marks", "Marks", [lines(found) if found else tag("p", "The file has no marks on the tracing.")])


def unread_section(unread: Sequence[Unread]) -> Html:
    """What of the source was not taken in."""
    if not unread:
        return section("unread", "Not read", [tag("p", "Everything in the file was taken in.")])
    rows = [(item.place, item.what, str(item.size)) for item in unread[:MOST_ROWS]]
    more = f"and {len(unread) - MOST_ROWS} more" if len(unread) > MOST_ROWS else ""
    heads = ("Place", "What", "Bytes")
    content = table("Parts of the source that were not taken in", heads, rows, numbers=(2,), foot=more)
    return section("unread", "Not read", [content])


def caution_section() -> Html:
    """What must be known before anything here is used."""
    return section("cautions", "Cautions", [lines(CAUTIONS)])
