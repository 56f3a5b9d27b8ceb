"""All that is wrong with a DICOM file: syntax, attributes, values, storage class, waveform, annotations."""

from __future__ import annotations

from collections.abc import Iterator

from interchange.errors import SourceError
from interchange.findings import Finding
from interchange.formats.dicom.check_attributes import check_attributes
from interchange.formats.dicom.check_values import check_places, check_values
from interchange.formats.dicom.dataset import DataSet
from interchange.formats.dicom.dictionary import StorageClass, storage_classes
from interchange.formats.dicom.parse import File, parse
from interchange.formats.dicom.reader import read_header, read_parsed
from interchange.formats.dicom.rules import RULE
from interchange.formats.dicom.textlines import apply_lines
from interchange.formats.dicom.view import Context, View
from interchange.model import Recording
from interchange.sources import Source
from interchange.vocabulary import lead_by_code

__all__ = ["check"]

_PRIVATE_SCHEMES = b"99"
_CODE_VALUE = 0x00080100
_DESIGNATOR = 0x00080102
_OUT_OF_PLACE = 2**62


def check(source: Source) -> tuple[Finding, ...]:
    """Every finding, in the order of the file."""
    try:
        file = parse(source.data)
    except SourceError as error:
        return (_unreadable(error),)
    found: list[Finding] = []
    try:
        header = read_header(file)
        apply_lines(header.recording, header.top)
        found.extend(header.top.context.findings)
    except SourceError as error:
        found.append(_unreadable(error))
    found.extend(_check_meta(file))
    found.extend(_check_object(file.dataset))
    return _in_order(tuple(dict.fromkeys(found)), file.dataset)


def read_and_check(source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """What ``read`` and ``check`` give, from one parsing; SourceError as ``read``."""
    file = parse(source.data)
    recording = read_parsed(file)
    found = [*recording.findings, *_check_meta(file), *_check_object(file.dataset)]
    return recording, _in_order(tuple(dict.fromkeys(found)), file.dataset)


def _unreadable(error: SourceError) -> Finding:
    rule = RULE["unreadable"]
    return Finding(rule.id, rule.severity, error.place, f"{rule.reason}: {error.reason}", rule.clause)


def _check_meta(file: File) -> Iterator[Finding]:
    for meta_tag, tag in ((0x00020002, 0x00080016), (0x00020003, 0x00080018)):
        said, is_so = file.meta.raw(meta_tag), file.dataset.raw(tag)
        if said is not None and said.rstrip(b"\0 ") != (is_so or b"").rstrip(b"\0 "):
            yield RULE["meta-mismatch"].at(file.meta.at(meta_tag))
        elif said is None and file.meta:
            yield RULE["missing-type-1"].at(file.meta.at(meta_tag), "type 1")


def _check_object(top: DataSet) -> Iterator[Finding]:
    uid = (top.raw(0x00080016) or b"").rstrip(b"\0 ").decode("ascii", "replace")
    storage = next((entry for entry in storage_classes().values() if entry.uid == uid), None)
    if storage is not None:
        yield from check_attributes(top, storage)
        yield from _check_class(View(top, Context()), storage)
    yield from check_values(top)
    yield from check_places(top)
    yield from _check_codes(View(top, Context()))


def _check_class(top: View, storage: StorageClass) -> Iterator[Finding]:
    """The limits that PS3.3 sets for the storage class; outside programs hardly look at them."""
    groups = top.items("WaveformSequence")
    total = 0
    if storage.max_groups is not None and len(groups) > storage.max_groups:
        yield _limit(
            "class-groups", top.at("WaveformSequence"), storage, f"{len(groups)} groups, at most {storage.max_groups}"
        )
    for group in groups:
        channels = len(group.items("ChannelDefinitionSequence"))
        total += channels
        yield from _check_group(group, channels, storage)
    if storage.max_channels is not None and total > storage.max_channels:
        text = f"{total} channels in all, at most {storage.max_channels}"
        yield _limit("class-channels", top.at("WaveformSequence"), storage, text)


def _check_group(group: View, channels: int, storage: StorageClass) -> Iterator[Finding]:
    place = group.at("ChannelDefinitionSequence")
    if storage.max_channels_group is not None and channels > storage.max_channels_group:
        yield _limit("class-channels", place, storage, f"{channels} channels, at most {storage.max_channels_group}")
    samples = group.whole("NumberOfWaveformSamples") or 0
    if storage.max_samples is not None and samples > storage.max_samples:
        place = group.at("NumberOfWaveformSamples")
        yield _limit("class-samples", place, storage, f"{samples} samples, at most {storage.max_samples}")
    rate = group.decimal("SamplingFrequency")
    low, high = storage.min_rate, storage.max_rate
    if rate is not None and low is not None and high is not None and not low <= rate <= high:
        text = f"{float(rate):g} Hz, {low} to {high} allowed"
        yield _limit("class-rate", group.at("SamplingFrequency"), storage, text)
    interpretation = group.text("WaveformSampleInterpretation")
    if interpretation and interpretation not in storage.interpretations:
        place = group.at("WaveformSampleInterpretation")
        rule = "class-32-interpretation" if storage.confidence == "unsure" else "class-interpretation"
        yield _limit(rule, place, storage, f"{' or '.join(storage.interpretations)} allowed")


def _limit(rule: str, place: str, storage: StorageClass, detail: str) -> Finding:
    found = RULE[rule].at(place, detail)
    unsure = (
        "" if storage.confidence == "seen" else f" [{'from memory' if storage.confidence == 'memory' else 'unsure'}]"
    )
    return Finding(found.rule, found.severity, place, found.reason, storage.clause + unsure)


def _check_codes(top: View) -> Iterator[Finding]:
    """Channel sources that are no ECG leads; private schemes that the object does not identify."""
    for group in top.items("WaveformSequence"):
        for channel in group.items("ChannelDefinitionSequence"):
            if not _has_lead_code(channel):
                yield RULE["lead-code"].at(channel.at("ChannelSourceSequence"))
    identified = {item.text("CodingSchemeDesignator") for item in top.items("CodingSchemeIdentificationSequence")}
    seen: set[str | None] = {*identified}
    for owner in _owners(top.dataset):
        raw = owner.raw(_DESIGNATOR)
        if raw is None or _CODE_VALUE not in owner:
            continue
        raw = raw.strip(b" \0")
        if raw.startswith(_PRIVATE_SCHEMES):
            name = raw.decode("latin-1")
            if name not in seen:
                seen.add(name)
                yield RULE["code-scheme"].at(owner.at(_DESIGNATOR))


def _has_lead_code(channel: View) -> bool:
    known = channel.dataset.known
    key = ("lead-code", channel.charset)
    if known is not None and key in known.facts:
        return bool(known.facts[key])
    code = channel.code("ChannelSourceSequence")
    if code is None or code.scheme == "SCPECG":
        found = True
    else:
        lead = lead_by_code(code.value) if code.scheme == "MDC" else None
        found = lead is not None and bool(lead.dicom_code)
    if known is not None:
        known.add(key, found)
    return found


def _owners(dataset: DataSet) -> Iterator[DataSet]:
    """The data set and every item below it, in order, but for known items without a private scheme."""
    yield dataset
    for element in dataset.values():
        for item in element.items or ():
            if item.known is None or _PRIVATE_SCHEMES in item.data:
                yield from _owners(item)


def _in_order(found: tuple[Finding, ...], top: DataSet) -> tuple[Finding, ...]:
    """Findings by the position of their place in the file; those whose place is not in the data set come last."""
    if len(found) < 2:
        return found
    wanted = {finding.place for finding in found}
    where: dict[str, int] = {}
    for owner, element in top.walk():
        for place in (owner.at(element.tag), owner.place.rstrip("/")):
            if place in wanted:
                where.setdefault(place, owner.base + element.start)

    def key(entry: tuple[int, Finding]) -> tuple[int, int]:
        number, finding = entry
        return where.get(finding.place, _near(finding.place, where)), number

    return tuple(finding for _, finding in sorted(enumerate(found), key=key))


def _near(place: str, where: dict[str, int]) -> int:
    """Position of the item that a missing element belongs to."""
    return where.get(place.rpartition("/")[0], _OUT_OF_PLACE)
