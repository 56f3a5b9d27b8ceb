"""What the sheet says in words: who, when, where, with what, what was measured and said, and the cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import groupby

from interchange._version import __version__
from interchange.draw.options import DrawOptions
from interchange.formats import by_name
from interchange.model import Acquisition, Device, Measurement, Moment, Patient, Recording, Statement
from interchange.show.about import filter_text
from interchange.show.layout import short
from interchange.show.measured import FIRST
from interchange.show.words import ABSENT, concept_label, identifier, joined, number, person, quantity, why_not
from interchange.vocabulary import lead_set

__all__ = [
    "LONGEST",
    "author_text",
    "cautions",
    "confirmation",
    "filters",
    "id_lines",
    "identity_line",
    "measurement_pairs",
    "moment_text",
    "name_text",
    "origin_line",
    "recording_lines",
    "st_caution",
    "statement_lines",
    "value_text",
]

LONGEST = 400
"""Characters of one text that are printed; the rest is said to be in the file."""
ST_LIMIT = Fraction(1, 20)
"""Low cut-off in hertz above which a filter may move the ST level (AHA recommendations 1990 and 2007, from memory)."""
FEW = 3


def name_text(patient: Patient) -> str:
    """The patient's name, or that there is none."""
    name = str(patient.name) if patient.name else ""
    return short(name, LONGEST) if name else f"Name {why_not('name', patient.absent)}"


def identity_line(patient: Patient) -> str:
    """Sex, age and birth date, known or not."""
    sex = patient.sex or f"sex {why_not('sex', patient.absent)}"
    age = quantity(patient.age) if patient.age else f"age {why_not('age', patient.absent)}"
    born = f"born {patient.birth_date}" if patient.birth_date else f"birth date {why_not('birth_date', patient.absent)}"
    return f"{sex}, {age}, {born}"


def id_lines(patient: Patient) -> list[str]:
    """Every identifier with its issuer, the primary one first."""
    found = [f"ID {short(identifier(item), LONGEST)}" for item in patient.ids]
    return found or [f"ID {why_not('ids', patient.absent)}"]


def moment_text(value: Moment | None, acquisition: Acquisition | None = None) -> str:
    """Date and time with the zone, or with the words that it is unknown."""
    if value is None:
        return f"time {why_not('time', acquisition.absent if acquisition else ())}"
    date, _, clock = str(value).partition("T")
    if value.hour is None:
        return f"{date}, time of day not said"
    zone = clock[-6:] if value.zone is not None else ""
    day = date if value.year is not None else "date not said"
    return f"{day} {clock.removesuffix(zone)} {zone.replace('-', '−') or '(zone unknown)'}"


def recording_lines(recording: Recording) -> list[tuple[str, bool]]:
    """Who and when, where, with what: (line, whether it is printed bold)."""
    patient, acquisition = recording.patient, recording.acquisition
    lines = [(line, True) for line in id_lines(patient)]
    lines += [
        (identity_line(patient), True),
        (f"Recorded {moment_text(acquisition.time, acquisition)}", True),
        (_site(acquisition), False),
    ]
    for word, who in (("Recorded by", acquisition.operator), ("Asked for by", acquisition.referring)):
        if who is not None:
            lines.append((f"{word} {short(person(who), LONGEST)}", False))
    lines += [(line, False) for line in _devices(acquisition.devices) or ["Device not said"]]
    lines += [(filters(recording), False), (_placement(acquisition), False)]
    lines += [(f"Reason: {short(text, LONGEST)}", False) for text in acquisition.reasons]
    lines += [(f"Remark: {short(text, LONGEST)}", False) for text in acquisition.remarks]
    if recording.deidentification:
        lines.append(("De-identified; may still be personal data", True))
    return lines


def _site(acquisition: Acquisition) -> str:
    site = acquisition.site
    text = joined((site.institution, site.department, site.room, site.address)) if site else ""
    return short(text, LONGEST) or f"Place {why_not('site', acquisition.absent)}"


def _devices(devices: Iterable[Device]) -> list[str]:
    """One line per machine; one that both recorded and analysed only once."""
    told: dict[str, list[str]] = {}
    for device in devices:
        text = joined(
            (
                joined((device.manufacturer, device.model, device.name)),
                f"serial {device.serial}" if device.serial else None,
            )
        )
        software = f"software {', '.join(device.software)}" if device.software else ""
        role = {"acquiring": "recorded", "analysing": "analysed"}.get(device.role or "", "")
        told.setdefault(text or "device not named", []).append(" ".join(filter(None, (role, software))))
    return [short(f"Device {text}{_roles(roles)}", LONGEST) for text, roles in told.items()]


def _roles(roles: Iterable[str]) -> str:
    text = "; ".join(role for role in roles if role)
    return f" ({text})" if text else ""


def filters(recording: Recording) -> str:
    """Filters of the recording, and of single leads where they differ."""
    common = recording.acquisition.filters
    own = {
        filter_text(channel.filters)
        for tracing in recording.tracings
        for channel in tracing.channels
        if channel.filters is not None and channel.filters != common
    }
    if common is None and own:
        each = short("; ".join(sorted(own)), LONGEST)
        return f"Filters: {each}" if len(own) <= FEW else "Filters differ from lead to lead"
    text = filter_text(common).removeprefix("filters ")
    return f"Filters: {text}" + ("; other filters on single leads" if own else "")


def _placement(acquisition: Acquisition) -> str:
    placement = acquisition.electrode_placement
    if not placement:
        return "Electrode placement not said"
    try:
        return f"Electrodes: {lead_set(placement).name}"
    except KeyError:
        return f"Electrodes: {short(placement, LONGEST)}"


def measurement_pairs(recording: Recording) -> list[tuple[str, str]]:
    """Global measurements as (name, value with unit), in the order in which they are read."""
    order = {concept: place for place, concept in enumerate(FIRST)}
    found = sorted(
        (item for item in recording.measurements if item.lead is None),
        key=lambda item: order.get(item.concept, len(FIRST)),
    )
    beats = len({item.beat for item in found if item.beat is not None}) > 1
    return [(_measured(item, beats), value_text(item)) for item in found]


def _measured(item: Measurement, beats: bool) -> str:
    return concept_label(item) + (f", beat type {item.beat}" if beats and item.beat is not None else "")


def value_text(item: Measurement) -> str:
    """A value with its unit, or why there is none."""
    if item.value is not None:
        unit = {"deg": "°", "1": "", None: ""}.get(item.unit, f" {item.unit}")
        words = f" ({item.text})" if item.text else ""
        return short(f"{number(item.value).replace('-', '−')}{unit}{words}", LONGEST)
    if item.text:
        return short(item.text, LONGEST)
    return ABSENT[item.absent] if item.absent else "no value given"


def statement_lines(statements: Sequence[Statement]) -> list[tuple[str, bool]]:
    """Statements below a line that says who said them and whether anybody confirmed them."""
    lines: list[tuple[str, bool]] = []
    for about, members in groupby(statements, key=_about):
        lines.append((about, True))
        for item in members:
            kind = "" if item.kind == "interpretation-statement" else f"{item.kind.replace('-', ' ')}: "
            lines.append((f"{kind}{short(item.text, LONGEST) or '(no text)'}", False))
    return lines or [("No statements in the file", False)]


def author_text(statement: Statement) -> str:
    """Who or what said it."""
    author = joined((statement.author_kind, statement.author))
    return f"said by {short(author, LONGEST)}" if author else "author not said"


def _about(statement: Statement) -> str:
    return joined(
        (
            confirmation(statement),
            moment_text(statement.time) if statement.time else None,
            f"interpretation {statement.group + 1}" if statement.group else None,
            author_text(statement),
        )
    )


def confirmation(statement: Statement) -> str:
    """Whether somebody confirmed a statement, and who."""
    who = f" by {short(statement.confirmed_by, LONGEST)}" if statement.confirmed_by else ""
    when = f" at {moment_text(statement.confirmed_time)}" if statement.confirmed_time else ""
    if statement.confirmed:
        return f"CONFIRMED{who or ', by whom not said'}{when}"
    seen = f", looked at{who}{when}" if statement.overread else ""
    return f"UNCONFIRMED{seen}" if statement.confirmed is False else f"UNCONFIRMED (confirmation not said){seen}"


def origin_line(recording: Recording, options: DrawOptions) -> str:
    """Where the sheet comes from: file, format, program, what the reader noticed."""
    kind = by_name(recording.format).title if recording.format else "arrays"
    source = f"{short(options.source, 160)} ({kind})" if options.source else kind
    warnings = sum(finding.severity != "note" for finding in recording.findings)
    parts = [
        f"Drawn from {source} by interchange {__version__}",
        f"{warnings} {'warning' if warnings == 1 else 'warnings'} while reading" if recording.format else None,
        f"{len(recording.unread)} parts of the file not read" if recording.unread else None,
        f"tracing digest {recording.tracings[0].digest[:16]}" if recording.tracings else None,
    ]
    return joined(parts)


def cautions(recording: Recording) -> list[str]:
    """What must be known before the sheet is used."""
    lines = [
        "Converted copy drawn from a file; no diagnostic device's print. Not for sole diagnostic use. "
        "Statements unconfirmed unless signed; they and the measurements are as received, not verified.",
        "A flat line, a missing lead or a warning never means asystole and never means normal. "
        "Times are those of the device; its clock may be wrong. Local protocols and licensed clinicians decide.",
    ]
    origins = {c.origin for t in recording.tracings for c in t.channels}
    if "derived" in origins:
        lines.append("Leads marked derived were calculated from others, not recorded.")
    if "reconstructed" in origins:
        lines.append("Leads marked reconstructed are not exactly what was recorded.")
    return lines


def st_caution(recording: Recording) -> str:
    """A word on filters that move the ST level, where there is reason for one."""
    found = [recording.acquisition.filters, *(c.filters for t in recording.rhythms for c in t.channels)]
    cuts = [item.highpass for item in found if item is not None and item.highpass is not None]
    if cuts and max(cuts) > ST_LIMIT:
        return f"Low cut-off {number(max(cuts))} Hz: unless free of phase shift, such a filter moves the ST level."
    return "" if cuts else "Low cut-off not said: a filter may have moved the ST level."
