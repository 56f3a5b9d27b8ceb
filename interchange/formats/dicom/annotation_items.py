"""Items of the Waveform Annotation Sequence, decoded: what they refer to, and where in time (PS3.3 C.10.10.1)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from interchange.formats.dicom.conceptcodes import ECG_FINDING, OTHER, OVERALL_FINDING, formula_of, named
from interchange.formats.dicom.dictionary import tag_of
from interchange.formats.dicom.leadcodes import OWN_SCHEME
from interchange.formats.dicom.read_waveform import Group
from interchange.formats.dicom.values import parse_moment
from interchange.formats.dicom.view import CodeItem, View
from interchange.model import Moment, Tracing
from interchange.records import dataclass
from interchange.vocabulary import Concept

__all__ = ["FINDINGS", "TIMES", "Item", "ItemReader", "Span"]

Span = tuple[Fraction, Fraction | None]
"""Start and end in seconds on a tracing; no end = a point."""

_CONCEPT_NAME: Final = tag_of("ConceptNameCodeSequence")
_MODIFIER: Final = tag_of("ModifierCodeSequence")
SPANS: Final = {"SEGMENT": 2, "MULTISEGMENT": 2, "POINT": 1, "MULTIPOINT": 1, "BEGIN": 1, "END": 1}
TIMES: Final = ("TemporalRangeType", "ReferencedSamplePositions", "ReferencedTimeOffsets", "ReferencedDateTime")
"""Attributes that say where in time an annotation lies."""

MOST: Final = 500_000
"""Marks or values that annotations of one object with several references and several places stand for (proposal)."""

FINDINGS: Final = {(ECG_FINDING.value, ECG_FINDING.scheme), (OVERALL_FINDING.value, OVERALL_FINDING.scheme)}


@dataclass(slots=True)
class Item:
    """One item, decoded but not yet understood.

    ``targets``: (index of the tracing, row or None for all) that it refers to.  ``spans``: the places in time on each
    of these tracings; None = the item has no temporal range, or one that could not be placed (``unplaced``).
    ``in_set``: marks have the same group number.
    """

    view: View
    text: str | None
    name: CodeItem | None
    modifier: CodeItem | None
    value: CodeItem | None
    numbers: tuple[Fraction, ...]
    unit: str | None
    group: int | None
    targets: list[tuple[int, int | None]]
    spans: dict[int, list[Span]] | None
    concept: Concept | None = None
    lead: str | None = None
    positions: tuple[int, ...] = ()
    in_set: bool = False
    unplaced: bool = False


def _name(view: View) -> tuple[CodeItem | None, CodeItem | None]:
    """Concept name and the modifier of it that is understood."""
    element = view.dataset.get(_CONCEPT_NAME)
    if element is None or not element.items:
        view.items("ConceptNameCodeSequence")
        return None, None
    if _MODIFIER not in element.items[0]:
        return view.code("ConceptNameCodeSequence"), None
    item = view.item("ConceptNameCodeSequence")
    return (item.as_code(), _modifier(item)) if item else (None, None)


def _modifier(name: View) -> CodeItem | None:
    """The modifier of a concept name if it is one that is understood; others stay unread."""
    understood = None
    for item in name.items("ModifierCodeSequence"):
        code = item.as_code()
        if code.scheme == OWN_SCHEME or formula_of(code) is not None:
            understood = code
        else:
            item.dataset.taken.clear()
    return understood


class ItemReader:
    """The tracings that annotations refer to, by group number; ``numbers`` are those of the tracings, from 1."""

    def __init__(self, groups: list[Group], time: Moment | None) -> None:
        self.groups = groups
        self.time = time
        self.room = MOST
        self.index: list[int | None] = []
        self.tracings: list[Tracing] = []
        self.numbers: list[int] = []
        for number, group in enumerate(groups, 1):
            self.index.append(len(self.tracings) if group.tracing else None)
            if group.tracing:
                self.tracings.append(group.tracing)
                self.numbers.append(number)

    def item(self, view: View) -> Item | None:
        """Decode one item; None where it stands for more than is read, which makes a finding."""
        targets = self.targets(view)
        numbers = view.decimals("NumericValue")
        if len(targets) > 1 and not self._has_room(view, len(targets), len(numbers)):
            view.context.tolerate("annotation-size", view.place)
            view.dataset.taken.clear()
            return None
        name, modifier = _name(view)
        unit = view.code("MeasurementUnitsCodeSequence")
        if unit is not None and unit.scheme != "UCUM":
            place = view.at("MeasurementUnitsCodeSequence")
            view.context.tolerate_once("measurement-unit", place, f"{unit.value} {unit.scheme}")
        kind = view.text("TemporalRangeType")
        positions = view.wholes("ReferencedSamplePositions")
        item = Item(
            view,
            view.whole_text("UnformattedTextValue"),
            name,
            modifier,
            view.code("ConceptCodeSequence"),
            numbers,
            unit.value if unit else None,
            view.whole("AnnotationGroupNumber"),
            targets,
            self.spans(view, kind, positions, targets),
            positions=positions,
        )
        if item.spans is not None and not any(item.spans.values()):
            item.spans, item.unplaced = None, True
            view.leave(*TIMES)
        if (item.text is None) == (item.name is None):
            view.context.tolerate("annotation-form", view.place)
            if item.text is not None and item.value is not None:
                view.leave("UnformattedTextValue")
                item.text = None
        self.understand(item)
        return item

    def _has_room(self, view: View, references: int, numbers: int) -> bool:
        """Whether as many marks or values may still be made; an item with one place is always welcome."""
        texts = [view.raw(keyword) or b"" for keyword in ("ReferencedTimeOffsets", "ReferencedDateTime")]
        view.leave("ReferencedTimeOffsets", "ReferencedDateTime")
        places = max(numbers, len(view.wholes("ReferencedSamplePositions")), *(1 + text.count(b"\\") for text in texts))
        if places > 1:
            self.room -= references * places
        return self.room >= 0

    def understand(self, item: Item) -> None:
        """Look the concept name up."""
        if item.name is None:
            return
        per_lead = any(row is not None for _, row in item.targets)
        found = named(item.name, per_lead, (item.spans is not None or item.unplaced) and not item.numbers)
        item.concept, item.lead = formula_of(item.modifier) or found.concept, found.lead
        if item.name.scheme == "SCPECG":
            item.view.context.tolerate_once("retired-concept-scheme", item.view.at("ConceptNameCodeSequence"))
        elif found.concept is None and item.name[:2] not in FINDINGS and item.name[:2] != OTHER[:2]:
            item.view.context.tolerate_once(
                "concept-unknown", item.view.at("ConceptNameCodeSequence"), item.name.value + item.name.scheme
            )

    def targets(self, view: View) -> list[tuple[int, int | None]]:
        """Referenced Waveform Channels as (tracing, row); pairs that point nowhere make a finding and are dropped."""
        numbers = view.wholes("ReferencedWaveformChannels")
        found: list[tuple[int, int | None]] = []
        for group, channel in zip(numbers[::2], numbers[1::2], strict=False):
            index = self.index[group - 1] if 0 < group <= len(self.index) else None
            if index is None or channel > len(self.tracings[index].channels):
                view.context.tolerate(
                    "annotation-reference", view.at("ReferencedWaveformChannels"), f"group {group}, channel {channel}"
                )
                continue
            found.append((index, channel - 1 if channel else None))
        if len(numbers) % 2 or not numbers:
            view.context.tolerate(
                "annotation-reference", view.at("ReferencedWaveformChannels"), f"{len(numbers)} numbers"
            )
        return list(dict.fromkeys(found)) if len(found) > 1 else found

    def spans(
        self, view: View, kind: str | None, positions: tuple[int, ...], targets: list[tuple[int, int | None]]
    ) -> dict[int, list[Span]] | None:
        """The places in time on each tracing that is referred to, None where the item is about the whole extent."""
        if kind is None and not positions and "ReferencedTimeOffsets" not in view and "ReferencedDateTime" not in view:
            return None
        if len(targets) < 2:
            indices = [targets[0][0] if targets else 0]
        else:
            indices = list(dict.fromkeys(index for index, _ in targets))
        if positions:
            shortest = min([self.tracings[index].length for index in indices])
            if 0 in positions or max(positions) > shortest:
                view.context.tolerate(
                    "annotation-position", view.at("ReferencedSamplePositions"), f"{shortest} samples"
                )
            if len(indices) > 1:
                view.context.tolerate("annotation-groups", view.at("ReferencedSamplePositions"))
            places = {index: _at_samples(positions, self.tracings[index]) for index in indices}
        elif "ReferencedTimeOffsets" in view:
            offsets = list(view.decimals("ReferencedTimeOffsets"))
            places = dict.fromkeys(indices, offsets)
        else:
            places = self._absolute(view, indices)
        _check_range(view, kind, len(places[indices[0]]))
        if kind == "POINT" and len(indices) == 1:
            return {indices[0]: [(point, None) for point in places[indices[0]]]}  # by far the most frequent
        return {index: _spanned(kind, points, self.tracings[index]) for index, points in places.items()}

    def _absolute(self, view: View, indices: list[int]) -> dict[int, list[Fraction]]:
        """Dates and times as seconds on each tracing; one that cannot be placed makes a finding and stays unread."""
        texts = view.texts("ReferencedDateTime")
        since = [seconds for text in texts if (seconds := self._since(view, text)) is not None]
        if len(since) < len(texts):
            view.leave("ReferencedDateTime")
        places = {index: [seconds - self.tracings[index].start for seconds in since] for index in indices}
        if any(not 0 <= point <= self.tracings[i].duration for i, points in places.items() for point in points):
            view.context.tolerate("annotation-position", view.at("ReferencedDateTime"), "outside the samples")
        return places

    def _since(self, view: View, text: str) -> Fraction | None:
        """Seconds from the start of acquisition to a date and time."""
        moment = parse_moment(text)
        if moment is None:
            view.context.tolerate("malformed-date", view.at("ReferencedDateTime"))
            return None
        since = None
        if self.time is not None:
            since = (replace(moment, zone=self.time.zone) if moment.zone is None else moment).minus(self.time)
        if since is None:
            view.context.tolerate("annotation-position", view.at("ReferencedDateTime"), "no time of acquisition")
        return since


def _at_samples(positions: Sequence[int], tracing: Tracing) -> list[Fraction]:
    return [Fraction(position - 1) / tracing.rate for position in positions]


def _check_range(view: View, kind: str | None, count: int) -> None:
    """A wrong number of points for the temporal range type makes a finding."""
    size = SPANS.get(kind or "")
    single = kind in ("POINT", "SEGMENT", "BEGIN", "END")
    if size is None or not count or count % size or (single and count != size):
        view.context.tolerate("annotation-range", view.at("TemporalRangeType"), f"{count} positions")


def _spanned(kind: str | None, points: list[Fraction], tracing: Tracing) -> list[Span]:
    """The points as spans by the temporal range type."""
    if kind == "BEGIN":
        end = tracing.duration
        return [(point, end) for point in points]
    if kind == "END":
        return [(Fraction(0), point) for point in points]
    if SPANS.get(kind or "") == 2:
        pairs: list[Span] = list(zip(points[::2], points[1::2], strict=False))
        return pairs if len(points) % 2 == 0 else [*pairs, (points[-1], None)]
    return [(point, None) for point in points]
