"""Text lines for what DICOM has no attribute for, kept where they belong to the object and harm no viewer.

The acquisition context (PS3.3 C.7.6.14) takes text items under any concept.  The writer reads its own attributes back,
compares with the recording, and puts every difference there as a line ``PATH: VALUE``
(:mod:`interchange.model.lines`), or ``unset PATH`` where a value was only made up by the format.  One item holds the
lines of one part of the recording and begins with a fingerprint of the attributes that the part rests on: if somebody
changes those (an archive that corrects a name, a program that adds an annotation) the lines no longer fit and are not
used, which is a finding.
"""

from __future__ import annotations

import dataclasses
import hashlib
import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Any, Final

from interchange.formats.dicom.dataset import DataSet
from interchange.formats.dicom.dictionary import tag_of
from interchange.formats.dicom.leadcodes import OWN_SCHEME
from interchange.formats.dicom.unset import without
from interchange.formats.dicom.view import CodeItem, View
from interchange.model import Channel, Recording
from interchange.model.lines import apply, line

__all__ = ["PARTS", "TEXT_LINES", "apply_lines", "differences", "fingerprint", "group_line", "name_groups", "part_of"]

TEXT_LINES: Final = CodeItem("TEXT-LINES", OWN_SCHEME, "Fields of the recording as lines of text")
UNSET: Final = "unset "
_GROUP: Final = re.compile(r"group (\d{1,5}): (.*)")
PARTS: Final = ("patient", "waveform", "annotations", "acquisition")
"""Parts of a recording whose lines stand or fall together."""

_NEAR: Final = Fraction(1, 10**9)
"""How far, in relation, a decimal string of 16 characters can be from what it stands for."""

_ANNOTATIONS: Final = ("measurements", "marks", "statements")
_BULK: Final = frozenset({tag_of("WaveformData"), tag_of("AcquisitionContextSequence")})
_TIED: Final = {
    "waveform": frozenset({tag_of("WaveformSequence")}),
    "annotations": frozenset({tag_of("WaveformAnnotationSequence")}),
    "acquisition": frozenset(
        map(
            tag_of,
            (
                "AcquisitionDateTime",
                "TimezoneOffsetFromUTC",
                "Manufacturer",
                "ManufacturerModelName",
                "DeviceSerialNumber",
                "SoftwareVersions",
                "StationName",
                "InstitutionName",
                "AccessionNumber",
                "StudyInstanceUID",
            ),
        )
    ),
}


def part_of(path: str) -> str:
    """The part that a field path belongs to."""
    name = path.partition(".")[0].partition("[")[0]
    if name == "patient":
        return "patient"
    if name == "tracings":
        return "waveform"
    return "annotations" if name in _ANNOTATIONS else "acquisition"


def fingerprint(top: DataSet, part: str) -> str:
    """Hash over the values of the attributes that a part rests on; the transfer syntax plays no role."""
    digest = hashlib.sha256(part.encode())
    for tag, element in sorted(top.items()):
        if not (tag >> 16 == 0x0010 if part == "patient" else tag in _TIED[part]):
            continue
        for owner, inner in _leaves(top, element):
            if inner.tag not in _BULK:
                value = owner.data[inner.start : inner.start + inner.length].rstrip(b"\0 ")
                digest.update(b"%08x%d:" % (inner.tag, len(value)) + value)
    return digest.hexdigest()[:16]


def _leaves(owner: DataSet, element: Any) -> Iterator[tuple[DataSet, Any]]:
    if element.items is None:
        yield owner, element
        return
    for item in element.items:
        for inner in item.walk():
            if inner[1].items is None:
                yield inner


# Reading -----------------------------------------------------------------------------------------------------------


def apply_lines(recording: Recording, top: View) -> Recording:
    """The recording with the lines of the object taken in; lines that no longer fit make a finding and stay unread."""
    seen: set[str] = set()
    for item in top.items("AcquisitionContextSequence"):
        name = item.code("ConceptNameCodeSequence")
        if name is None or name[:2] != TEXT_LINES[:2]:
            continue
        text = item.whole_text("TextValue") or ""
        item.text("ValueType")
        head, *lines = text.replace("\r\n", "\n").split("\n")
        part, _, mark = head.partition(" ")
        again = part in seen
        seen.add(part)
        if again or part not in PARTS or mark != fingerprint(top.dataset, part):
            item.dataset.taken.discard(tag_of("TextValue"))
            top.context.tolerate("stale-lines", item.at("TextValue"))
            continue
        recording = _applied(recording, part, lines, item)
    return recording


def name_groups(recording: Recording, names: dict[int, str]) -> Recording:
    """The recording with the sets of marks called by their names instead of their annotation group numbers."""
    if not names:
        return recording
    by_number = {str(number): name for number, name in names.items()}
    marks = tuple(
        dataclasses.replace(mark, group=by_number[mark.group]) if mark.group in by_number else mark
        for mark in recording.marks
    )
    return dataclasses.replace(recording, marks=marks)


def _group_names(lines: list[str]) -> dict[int, str]:
    names: dict[int, str] = {}
    for text in lines:
        found = _GROUP.fullmatch(text)
        if found:
            # any text field of the model will do to take the escapes back
            name = apply(Recording(), [f"acquisition.sequence_number: {found[2]}"])[0].acquisition.sequence_number
            names[int(found[1])] = name or ""
    return names


def group_line(number: int, name: str) -> str:
    """The line that says how the set of marks with this annotation group number is called."""
    return line(f"group {number}", name)


def _applied(recording: Recording, part: str, lines: list[str], item: View) -> Recording:
    if part == "annotations":
        recording = name_groups(recording, _group_names(lines))
        lines = [text for text in lines if not _GROUP.fullmatch(text)]
    plain = [text for text in lines if not text.startswith(UNSET) and part_of(text) == part]
    before = recording
    recording, others = apply(recording, plain)
    taken_out = [text[len(UNSET) :] for text in lines if text.startswith(UNSET)]
    recording, failed = without(recording, [path for path in taken_out if part_of(path) == part])
    others = (*others, *(UNSET + path for path in failed))
    if not _keeps_scale(before, recording):
        recording, others = before, tuple(lines)
    if others:
        item.dataset.taken.discard(tag_of("TextValue"))
        item.context.tolerate("stale-lines", item.at("TextValue"), f"{len(others)} lines")
    return recording


def _keeps_scale(before: Recording, after: Recording) -> bool:
    """Whether rates, steps and offsets are those of the attributes, to the last digits of a decimal string."""
    if len(before.tracings) != len(after.tracings):
        return False
    for old, new in zip(before.tracings, after.tracings, strict=True):
        if abs(new.rate - old.rate) > _NEAR * old.rate or len(old.channels) != len(new.channels):
            return False
        for one, other in zip(old.channels, new.channels, strict=True):
            moved = max(abs(other.step - one.step), abs(other.offset - one.offset))
            if one.unit is not None and moved > _NEAR * (abs(one.step) + abs(one.offset)):
                return False
    return True


# Writing -----------------------------------------------------------------------------------------------------------

_SKIPPED: Final = frozenset({"samples", "missing", "_digest", "format", "unread", "findings", "document_id"})


def differences(wanted: Recording, got: Recording) -> dict[str, list[str]]:
    """For each part the lines that turn ``got`` into ``wanted``, samples aside."""
    found: dict[str, list[str]] = {part: [] for part in PARTS}
    for text in _object_differences(wanted, got, ""):
        found[part_of(text.removeprefix(UNSET))].append(text)
    return found


def _object_differences(wanted: Any, got: Any, path: str) -> Iterator[str]:
    for entry in dataclasses.fields(wanted):
        name = entry.name
        if name in _SKIPPED:
            continue
        new, old = getattr(wanted, name), getattr(got, name)
        if new is old:
            continue
        here = f"{path}.{name}" if path else name
        if isinstance(new, tuple) or isinstance(old, tuple):
            yield from _tuple_differences(new, old, here)
        else:
            yield from _value_differences(new, old, here)


def _value_differences(new: Any, old: Any, path: str) -> Iterator[str]:
    if new == old and type(new) is type(old):
        return
    if new is None:
        yield f"{UNSET}{path}"
    elif old is not None and _is_object(new) and type(new) is type(old):
        yield from _object_differences(new, old, path)
    elif not _says_nothing(new):
        yield line(path, new)


def _says_nothing(value: Any) -> bool:
    """Whether an object has no field set: it reads back as no object at all, which means the same."""
    return _is_object(value) and all(getattr(value, entry.name) == entry.default for entry in dataclasses.fields(value))


def _is_object(value: Any) -> bool:
    from interchange.model import Moment, Quantity

    return dataclasses.is_dataclass(value) and not isinstance(value, (Moment, Quantity))


def _tuple_differences(new: Any, old: Any, path: str) -> Iterator[str]:
    if _is_array_owner(new):
        for index, (one, other) in enumerate(zip(new, old, strict=False)):
            yield from _object_differences(one, other, f"{path}[{index}]")
        return
    yield from _removed(new, old, path)
    for index, one in enumerate(new):
        here = f"{path}[{index}]"
        if index >= len(old):
            yield line(here, one)
        elif isinstance(one, Channel) and (one is old[index] or one == old[index]):
            continue  # by far the most frequent
        elif _is_object(one):
            yield from _object_differences(one, old[index], here)
        elif one != old[index]:
            yield line(here, one)


def _removed(new: Any, old: Any, path: str) -> Iterable[str]:
    return [f"{UNSET}{path}[{index}]" for index in range(len(old) - 1, len(new) - 1, -1)]


def _is_array_owner(items: Any) -> bool:
    return bool(items) and hasattr(items[0], "samples")
