"""What differs between two recordings: a plain walk over the fields, for tests, that knows nothing of the package.

Rules, and there are no others:

* ``format``, ``unread`` and ``findings`` speak about a file and are passed over.
* A leaf (text, number, moment, quantity, code, flag) differs when it is not equal.
* Of an object that only one side has, every field that is set differs.
* Lists are no ordered things, but for those in ORDERED; and the first patient id is another thing than the others.
   Items that are equal belong together, then those with the
  same key (KEYS, one after the other), then, if as many are left over on both sides, the first with the first.  An item
  without a partner differs as a whole.
* Lists of (key, text) are compared key by key.
* Tracings belong together by TRACING_KEYS, one after the other.  Channels belong together by name, the rest in order
  if as many are left over.
* Samples are compared one by one as exact physical values, whatever step and offset they were stored with; a row is one
  difference.  What is missing on either side is a matter of the mask.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from interchange.model import (
    Channel,
    Code,
    Device,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Quantity,
    Recording,
    Statement,
    Tracing,
)

ABOUT_THE_FILE = ("format", "unread", "findings")
LEAVES = (str, int, Fraction, Moment, Quantity, Code)
ORDERED = ("patient.ids", "statements", "acquisition.remarks", "acquisition.reasons", "patient.comments")

KEYS: dict[type, tuple[Callable[[Any], object], ...]] = {
    Measurement: (
        lambda m: (m.concept, m.lead, m.beat, m.source_code),
        lambda m: (m.concept, m.lead, m.source_code),
    ),
    Mark: (
        lambda m: (m.concept, m.tracing, m.lead, m.start, m.end, m.group),
        lambda m: (m.concept, m.tracing, m.lead, m.start),
        lambda m: (m.concept, m.tracing, m.start),
    ),
    Statement: (lambda s: (s.text, s.group, s.kind), lambda s: (s.text, s.kind), lambda s: s.text),
    Identifier: (lambda i: i.value,),
    Device: (lambda d: (d.role, d.model, d.serial), lambda d: d.role),
    Code: (lambda c: (c.value, c.scheme), lambda c: c.meaning),
}
TRACING_KEYS: tuple[Callable[[Tracing], object], ...] = (
    lambda t: (t.kind, t.names, t.rate, t.start, t.length),
    lambda t: (t.kind, t.rate, t.start, t.length),
    lambda t: (t.kind, t.rate, t.start),
    lambda t: (t.kind, t.names, t.start, t.length),
    lambda t: (t.kind, t.names, t.rate),
    lambda t: (t.kind, t.names),
    lambda t: t.kind,
)


class Difference(NamedTuple):
    """One difference: ``before`` is None for what only the second has, ``after`` for what only the first has."""

    path: str
    before: Any
    after: Any

    @property
    def kind(self) -> str:
        return "added" if self.before is None else "left" if self.after is None else "changed"


def walk(before: Recording, after: Recording) -> list[Difference]:
    """Every difference, with indices of the first recording (of the second for what only the second has)."""
    found: list[Difference] = []
    pairs = tracing_pairs(before, after)
    found.extend(_unpaired("tracings", before.tracings, after.tracings, pairs))
    for i, j in pairs:
        found.extend(_tracing(f"tracings[{i}]", before.tracings[i], after.tracings[j]))
    if _disordered(pairs):
        found.append(Difference("tracings", "in this order", "in another order"))
    numbers = {j: i for i, j in pairs}
    marks = tuple(dataclasses.replace(m, tracing=numbers.get(m.tracing, m.tracing)) for m in after.marks)
    after = after.with_(marks=marks)
    for name in (f.name for f in dataclasses.fields(Recording)):
        if name != "tracings" and name not in ABOUT_THE_FILE:
            found.extend(_value(name, getattr(before, name), getattr(after, name)))
    return found


def tracing_pairs(before: Recording, after: Recording) -> list[tuple[int, int]]:
    """Which tracing of the first belongs to which of the second."""
    return _paired(before.tracings, after.tracings, TRACING_KEYS, fill=False)


def _value(path: str, before: Any, after: Any) -> Iterator[Difference]:
    some = after if before is None else before
    if before == after:
        return
    if isinstance(some, tuple):
        yield from _list(path, before or (), after or ())
    elif isinstance(some, LEAVES):
        yield Difference(path, before, after)
    else:
        for field in dataclasses.fields(some):
            unset = None if field.default is dataclasses.MISSING else field.default
            one, two = (unset if owner is None else getattr(owner, field.name) for owner in (before, after))
            yield from _value(f"{path}.{field.name}", one, two)


def _list(path: str, before: Sequence[Any], after: Sequence[Any]) -> Iterator[Difference]:
    if isinstance((before or after)[0], tuple):  # (key, text)
        for key in sorted({key for key, _ in (*before, *after)}):
            one, two = ([text for k, text in side if k == key] for side in (before, after))
            if one != two:
                yield Difference(f"{path}[{key}]", one or None, two or None)
        return
    pairs = _paired(before, after, KEYS.get(type((before or after)[0]), ()), fill=True)
    for i, j in pairs:
        yield from _value(f"{path}[{i}]", before[i], after[j])
    yield from _unpaired(path, before, after, pairs)
    first_moved = path == "patient.ids" and dict(pairs).get(0, 0) != 0
    if first_moved or (path in ORDERED and _disordered(pairs)):
        yield Difference(path, "in this order", "in another order")


def _paired(
    before: Sequence[Any], after: Sequence[Any], keys: Sequence[Callable[[Any], object]], fill: bool
) -> list[tuple[int, int]]:
    """Which item of the first belongs to which of the second, in the order of the first."""
    one, two = list(range(len(before))), list(range(len(after)))
    pairs: list[tuple[int, int]] = []
    rules = keys if not fill else (lambda item: item, *keys)
    for rule in rules:
        for i in list(one):
            j = next((j for j in two if rule(before[i]) == rule(after[j])), None)
            if j is not None:
                pairs.append((i, j))
                one.remove(i)
                two.remove(j)
    if fill and len(one) == len(two):
        pairs.extend(zip(one, two, strict=True))
    return sorted(pairs)


def _unpaired(
    path: str, before: Sequence[Any], after: Sequence[Any], pairs: list[tuple[int, int]]
) -> Iterator[Difference]:
    for i, item in enumerate(before):
        if i not in [pair[0] for pair in pairs]:
            yield Difference(f"{path}[{i}]", item, None)
    for j, item in enumerate(after):
        if j not in [pair[1] for pair in pairs]:
            yield Difference(f"{path}[{j}]", None, item)


def _disordered(pairs: list[tuple[int, int]]) -> bool:
    order = [j for _, j in pairs]
    return order != sorted(order)


# Tracings ----------------------------------------------------------------------------------------------------------


def _tracing(path: str, before: Tracing, after: Tracing) -> Iterator[Difference]:
    for name in ("rate", "start", "kind", "label", "of", "fiducial", "beat", "extras"):
        yield from _value(f"{path}.{name}", getattr(before, name), getattr(after, name))
    pairs = _paired_channels(before.channels, after.channels)
    yield from _unpaired(f"{path}.channels", before.channels, after.channels, pairs)
    if _disordered(pairs):
        yield Difference(f"{path}.channels", "in this order", "in another order")
    for i, j in pairs:
        yield from _value(f"{path}.channels[{i}]", before.channels[i], after.channels[j])
        yield from _row(path, before, i, after, j)


def _paired_channels(before: Sequence[Channel], after: Sequence[Channel]) -> list[tuple[int, int]]:
    one, two = list(range(len(before))), list(range(len(after)))
    pairs = []
    for i in list(one):
        j = next((j for j in two if before[i].name == after[j].name), None)
        if j is not None:
            pairs.append((i, j))
            one.remove(i)
            two.remove(j)
    if len(one) == len(two):
        pairs.extend(zip(one, two, strict=True))
    return sorted(pairs)


def _row(path: str, before: Tracing, i: int, after: Tracing, j: int) -> Iterator[Difference]:
    if _stored(before, i) == _stored(after, j):
        return  # the same integers, scale and gaps are the same values
    one, two = values(before, i), values(after, j)
    shorter = min(len(one), len(two))
    gone = [[value is None for value in row[:shorter]] for row in (one, two)]
    if gone[0] != gone[1]:
        yield Difference(f"{path}.missing[{i}]", sum(gone[0]), sum(gone[1]))
    both = zip(one[:shorter], two[:shorter], strict=True)
    if len(one) != len(two) or any(x != y for x, y in both if x is not None and y is not None):
        yield Difference(f"{path}.samples[{i}]", f"{len(one)} samples", f"{len(two)} samples")


def _stored(tracing: Tracing, row: int) -> tuple[object, ...]:
    channel = tracing.channels[row]
    gone = None if tracing.missing is None or not tracing.missing[row].any() else tracing.missing[row].tobytes()
    return channel.step, channel.offset, tracing.samples[row].astype(int).tobytes(), gone


def values(tracing: Tracing, row: int) -> list[Fraction | None]:
    """The physical values of a row, exactly; None where missing."""
    channel = tracing.channels[row]
    gone = [False] * tracing.length if tracing.missing is None else tracing.missing[row].tolist()
    table: dict[int, Fraction] = {}
    for count in set(tracing.samples[row].tolist()):
        table[count] = channel.offset + channel.step * count
    return [None if g else table[count] for count, g in zip(tracing.samples[row].tolist(), gone, strict=True)]
