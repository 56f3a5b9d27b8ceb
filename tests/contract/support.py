"""What the laws have in common: recordings, one way to hand one over, and what is protected."""

from __future__ import annotations

import dataclasses
import itertools
import re
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path

import interchange
from fixtures.field import recordings as field_recordings
from interchange.errors import InternalError
from interchange.formats import FORMATS
from interchange.model import Moment, Recording, Tracing
from interchange.receipt import Receipt
from tests.everything import everything
from tests.walk import Difference, tracing_pairs, values, walk

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
NAMES = tuple(entry.name for entry in FORMATS)
PAIRS = tuple(itertools.product(NAMES, NAMES))
PAIR_NAMES = tuple(f"{a}-{b}" for a, b in PAIRS)
SUFFIX = {entry.name: entry.suffix for entry in FORMATS}
CLASSES = ("signal", "timing", "leads", "identity")

OPEN = {name: FIXTURES / "open" / f"{name}.hea" for name in ("00841_hr", "00841_lr", "wfd")}
"""Records of open data sets; fixtures/MANIFEST.toml says which."""


@cache
def sample(name: str) -> Recording:
    """One of the recordings that the laws are tried on."""
    if name == "everything":
        return everything()
    if name in OPEN:
        return interchange.read(OPEN[name])
    return field_recordings()[name]


SCENARIO = ("field-twelve", "field-strip", "field-limb")
SAMPLES = (*SCENARIO, "everything", *OPEN)


@dataclasses.dataclass(frozen=True)
class Handed:
    """A recording that was written: to where, the receipt, what came back, and why it was refused at first."""

    path: Path
    receipt: Receipt
    back: Recording
    refusal: interchange.RefusedError | None


def hand_over(
    recording: Recording, format: str, folder: Path, name: str = "record"
) -> Handed | interchange.RefusedError:
    """Write and read back; what is protected is accepted at the second attempt; an error if there is no way at all."""
    path = folder / f"{name}{SUFFIX[format]}"
    there = sorted(folder.iterdir())
    refusal = None
    try:
        receipt = interchange.write(recording, path, format=format)
    except interchange.RefusedError as error:
        assert sorted(folder.iterdir()) == there, "refused, and yet something was written"
        refusal = error
        try:
            receipt = interchange.write(recording, path, format=format, accept=CLASSES)
        except interchange.RefusedError as final:
            assert sorted(folder.iterdir()) == there, "refused, and yet something was written"
            return final
    return Handed(path, receipt, interchange.read(path), refusal)


# The laws of a receipt ---------------------------------------------------------------------------------------------


def check_receipt(recording: Recording, handed: Handed) -> None:
    """The receipt says what a plain walk over both sides finds, with a reason for each, and refuses what it must."""
    receipt = handed.receipt
    found = walk(recording, handed.back)
    said = {entry.path for entry in (*receipt.changed, *receipt.left)}
    assert said == {d.path for d in found if d.kind != "added"}
    assert {entry.path for entry in receipt.changed} == {d.path for d in found if d.kind == "changed"}
    assert len(said) == len(receipt.changed) + len(receipt.left), "listed twice"
    assert {d.path for d in found if d.kind == "added"} <= {entry.path for entry in receipt.added}
    for entry in (*receipt.changed, *receipt.left, *receipt.added):
        assert entry.reason.strip(), f"{entry.path}: no reason"
    classes = {kind for d in found for kind in [protected(recording, handed.back, d)] if kind}
    assert {entry.protected for entry in receipt.losses} == classes
    assert receipt.verified
    if handed.refusal is None:
        assert classes == set(), "protected, and yet not refused"
    else:
        assert classes, "refused, and yet nothing protected was lost"
        assert {entry.protected for entry in handed.refusal.losses} == classes


_IDENTITY = re.compile(r"patient\.(ids\[0\](\.value)?|name\.(family|given|text)|birth_date|sex)")
_SIGNAL = re.compile(r"tracings\[\d+\](\.channels\[\d+\](\.unit)?|\.(samples|missing)\[\d+\])?")
_LEADS = re.compile(r"tracings(\[\d+\]\.channels(\[\d+\]\.name)?)?")
_TIMES = re.compile(r"tracings\[(\d+)\]\.(rate|start|channels\[(\d+)\]\.skew)")


def protected(before: Recording, after: Recording, found: Difference) -> str | None:
    """The class that a difference belongs to by the policy, which is written down here once more."""
    if found.kind == "added":
        return None
    if _IDENTITY.fullmatch(found.path):
        return "identity"
    if found.path == "patient.ids":
        return "identity" if before.patient.ids[0].value != after.patient.ids[0].value else None
    if found.path == "acquisition.time":
        return None if _same_instant(found.before, found.after) else "timing"
    times = _TIMES.fullmatch(found.path)
    if times:
        return "timing" if _moved(before, after, int(times[1]), times[2]) else None
    if _LEADS.fullmatch(found.path):
        return "leads"
    if _SIGNAL.fullmatch(found.path):
        return "signal" if _matters(before, after, found.path) else None
    return None


def _same_instant(before: Moment, after: Moment | None) -> bool:
    """A lost zone is listed and not protected; everything else that was known of the instant is."""
    if after is None:
        return False
    if before.zone is None or after.zone is None:
        return dataclasses.replace(before, zone=None) == dataclasses.replace(after, zone=None)
    moved = before.minus(after)
    return before == after if moved is None else moved == 0


def _moved(before: Recording, after: Recording, index: int, what: str) -> bool:
    """Whether a first or last sample moved by more than a thousandth of the interval."""
    one, two = before.tracings[index], partner(before, after, index)
    limit = Fraction(1, 1000) / one.rate
    if what.endswith("skew"):
        row = int(re.findall(r"\d+", what)[0])
        other = row_there(one, row, two)
        return abs(one.channels[row].skew - two.channels[row if other is None else other].skew) > limit
    last = max(one.length, two.length, 1) - 1
    ends = abs(one.start - two.start), abs(one.start + last / one.rate - two.start - last / two.rate)
    return max(ends) > limit


def _matters(before: Recording, after: Recording, path: str) -> bool:
    """Whether a sample moved by more than a thousandth of its step, or something is gone."""
    row_named = re.fullmatch(r"tracings\[(\d+)\]\.samples\[(\d+)\]", path)
    if not row_named:
        return True
    index, row = int(row_named[1]), int(row_named[2])
    one, two = before.tracings[index], partner(before, after, index)
    if one.length != two.length:
        return True
    return largest_error(before, after, index, row) > abs(one.channels[row].step) / 1000


def partner(before: Recording, after: Recording, index: int) -> Tracing:
    """The tracing of the second that belongs to one of the first."""
    return after.tracings[dict(tracing_pairs(before, after))[index]]


def row_there(one: Tracing, row: int, two: Tracing) -> int | None:
    """The row of the second that belongs to a row of the first: of several with one name the one at the same turn."""
    name = one.channels[row].name
    turn = one.names[:row].count(name)
    rows = [index for index, other in enumerate(two.names) if other == name]
    return rows[turn] if turn < len(rows) else None


def largest_error(before: Recording, after: Recording, index: int, row: int) -> Fraction:
    """Largest difference of the samples that both sides have."""
    one, two = before.tracings[index], partner(before, after, index)
    other = row_there(one, row, two)
    rows = zip(values(one, row), values(two, row if other is None else other), strict=False)
    return max((abs(x - y) for x, y in rows if x is not None and y is not None), default=Fraction(0))


def sample_errors(before: Recording, after: Recording) -> Iterator[tuple[str, Fraction, Fraction]]:
    """(place, largest error, half the step that the sample was written with) of every channel that arrived."""
    touched = {d.path for d in walk(before, after)}
    for index, one in enumerate(before.tracings):
        if f"tracings[{index}]" in touched:
            continue
        two = partner(before, after, index)
        for row in range(len(one.channels)):
            other = row_there(one, row, two)
            place = f"tracings[{index}].samples[{row}]"
            if other is not None and place in touched:
                yield place, largest_error(before, after, index, row), abs(two.channels[other].step) / 2


def snapshot(recording: Recording) -> tuple[object, ...]:
    """Everything that a recording holds, in a form of its own that a change of the recording does not reach."""
    arrays = [
        (t.samples.tobytes(), None if t.missing is None else t.missing.tobytes(), t.samples.dtype.str)
        for t in recording.tracings
    ]
    return repr(recording.with_(tracings=())), repr([t.channels for t in recording.tracings]), arrays


def assert_sound(error: BaseException) -> None:
    """An error that a file may cause: ours, and none that says that the program is at fault."""
    assert isinstance(error, interchange.InterchangeError)
    assert error.reason
    assert not isinstance(error, InternalError), f"the program failed: {error.__cause__!r}"
