"""Tracings against tracings: names, scale, time and every sample, exactly."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Hashable, Sequence
from dataclasses import fields
from fractions import Fraction
from typing import Any

from interchange.compare.difference import Difference
from interchange.compare.values import FieldWalk, text_of
from interchange.model import Channel, Tracing
from interchange.model.exact import common_denominator, scaled
from interchange.records import dataclass

__all__ = ["TracingWalk", "match_tracings"]

TOLERANCE = Fraction(1, 1000)
"""A sample may move by this part of its step, a sample's time by this part of the interval (policy of the project)."""

_SAMPLE_FIELDS = frozenset({"channels", "samples", "missing", "rate", "start", "_digest"})


def match_tracings(before: Sequence[Tracing], after: Sequence[Tracing]) -> dict[int, int]:
    """Index in the first -> index in the second: what agrees in most comes first; always the same kind; in order."""
    pairs: dict[int, int] = {}
    keys: tuple[Any, ...] = (
        lambda t: (t.kind, t.names, t.rate, t.start, t.length),
        lambda t: (t.kind, t.rate, t.start, t.length),
        lambda t: (t.kind, t.rate, t.start),
        lambda t: (t.kind, t.names, t.start, t.length),
        lambda t: (t.kind, t.names, t.rate),
        lambda t: (t.kind, t.names),
        lambda t: t.kind,
    )
    for key in keys:
        waiting: dict[Hashable, deque[int]] = defaultdict(deque)
        taken = set(pairs.values())
        for index, tracing in enumerate(after):
            if index not in taken:
                waiting[key(tracing)].append(index)
        for index, tracing in enumerate(before):
            if index not in pairs and waiting.get(key(tracing)):
                pairs[index] = waiting[key(tracing)].popleft()
    return dict(sorted(pairs.items()))


@dataclass(slots=True)
class TracingWalk:
    """Collects the differences of tracings, and their largest error in microvolts and in seconds."""

    walk: FieldWalk
    sample_error: Fraction = Fraction(0)
    time_error: Fraction = Fraction(0)

    def tracing(self, path: str, before: Tracing, after: Tracing) -> None:
        """All differences between two tracings that belong together."""
        for entry in fields(Tracing):
            if entry.name not in _SAMPLE_FIELDS:
                a, b = getattr(before, entry.name), getattr(after, entry.name)
                self.walk.value(f"{path}.{entry.name}", a, b)
        self._time(path, before, after)
        rows = self._rows(path, before.channels, after.channels)
        unmoved = _same_integers(before, after) and all(row == other for row, other in rows)
        for row, other in rows:
            one, two = before.channels[row], after.channels[other]
            if unmoved and (one is two or one == two):
                continue
            self._channel(f"{path}.channels[{row}]", before, row, after, other)
            self._samples(f"{path}.samples[{row}]", before, row, after, other)

    def _time(self, path: str, before: Tracing, after: Tracing) -> None:
        last = max(before.length, after.length, 1) - 1
        begin = abs(after.start - before.start)
        end = abs((after.start + last / after.rate) - (before.start + last / before.rate))
        moved = max(begin, end)
        self.time_error = max(self.time_error, moved)
        protected = "timing" if moved * before.rate > TOLERANCE else None
        for name in ("rate", "start"):
            a, b = getattr(before, name), getattr(after, name)
            if a != b:
                self.walk.add(Difference(f"{path}.{name}", "changed", text_of(a), text_of(b), protected))  # type: ignore[arg-type]

    def _rows(self, path: str, before: Sequence[Channel], after: Sequence[Channel]) -> list[tuple[int, int]]:
        """Rows that belong together, by name; reports lost and new channels and a changed order."""
        waiting: dict[str, deque[int]] = defaultdict(deque)
        for index, channel in enumerate(after):
            waiting[channel.name].append(index)
        pairs, left = [], []
        for index, channel in enumerate(before):
            if waiting.get(channel.name):
                pairs.append((index, waiting[channel.name].popleft()))
            else:
                left.append(index)
        right = sorted(index for queue in waiting.values() for index in queue)
        if len(left) == len(right):
            pairs = sorted([*pairs, *zip(left, right, strict=True)])
            left, right = [], []
        for index in left:
            self.walk.add(Difference(f"{path}.channels[{index}]", "left", before[index].name, None, "signal"))
        for index in right:
            self.walk.add(Difference(f"{path}.channels[{index}]", "added", None, after[index].name, "signal"))
        order = [other for _, other in pairs]
        if order != sorted(order):
            names = [" ".join(channel.name for channel in side) for side in (before, after)]
            self.walk.add(Difference(f"{path}.channels", "changed", names[0], names[1], "leads"))
        return pairs

    def _channel(self, path: str, before: Tracing, row: int, after: Tracing, other: int) -> None:
        a, b = before.channels[row], after.channels[other]
        if a == b:
            return
        for entry in fields(Channel):
            one, two = getattr(a, entry.name), getattr(b, entry.name)
            if one == two:
                continue
            protected: Any = None
            if entry.name == "name":
                protected = "leads"
            elif entry.name == "unit":
                protected = "signal"
            elif entry.name == "skew":
                self.time_error = max(self.time_error, abs(one - two))
                protected = "timing" if abs(one - two) * before.rate > TOLERANCE else None
            self.walk.value(f"{path}.{entry.name}", one, two, protected)

    def _samples(self, path: str, before: Tracing, row: int, after: Tracing, other: int) -> None:
        a, b = before.channels[row], after.channels[other]
        length = min(before.length, after.length)
        counts = [f"{t.length} samples" for t in (before, after)]
        gone = [_mask(before, row, length), _mask(after, other, length)]
        if not _same_mask(*gone):
            texts = [f"{0 if m is None else int(m.sum())} samples missing" for m in gone]
            self.walk.add(Difference(path.replace(".samples", ".missing"), "changed", texts[0], texts[1], "signal"))
        x, y = before.samples[row][:length], after.samples[other][:length]
        known = _known(*gone)
        if known is not None:
            x, y = x[known], y[known]
        count, error = _difference(x, a, y, b)
        if not count:
            if before.length != after.length:
                self.walk.add(Difference(path, "changed", counts[0], counts[1], "signal"))
            return
        if a.unit == "uV" and b.unit == "uV":
            self.sample_error = max(self.sample_error, error)
        moved = error > abs(a.step) * TOLERANCE or before.length != after.length
        text = f"{count} of {length} samples by up to {text_of(error)} {a.unit or 'counts'}"
        if before.length != after.length:
            text = f"{counts[1]}, {text}"
        self.walk.add(Difference(path, "changed", counts[0], text, "signal" if moved else None))


def _same_integers(before: Tracing, after: Tracing) -> bool:
    """Whether all samples are the same integers in the same rows, and the same ones are missing."""
    import numpy as np

    if (before.missing is None) != (after.missing is None):
        return False
    if before.missing is not None and not np.array_equal(before.missing, after.missing):  # type: ignore[arg-type]
        return False
    return bool(np.array_equal(before.samples, after.samples))


def _mask(tracing: Tracing, row: int, length: int) -> Any:
    if tracing.missing is None:
        return None
    mask = tracing.missing[row][:length]
    return mask if mask.any() else None


def _same_mask(a: Any, b: Any) -> bool:
    import numpy as np

    if a is None or b is None:
        return a is b
    return bool(np.array_equal(a, b))


def _known(a: Any, b: Any) -> Any:
    if a is None and b is None:
        return None
    if a is None or b is None:
        return ~(a if b is None else b)
    return ~(a | b)


def _difference(x: Any, a: Channel, y: Any, b: Channel) -> tuple[int, Fraction]:
    """(number of samples whose physical value differs, the largest difference in the first channel's unit)."""
    import numpy as np

    if (a.step, a.offset) == (b.step, b.offset):
        if np.array_equal(x, y):
            return 0, Fraction(0)
        moved = np.abs(x.astype(np.int64) - y)
        return int(np.count_nonzero(moved)), int(moved.max()) * abs(a.step)
    denominator = common_denominator(a.step, a.offset, b.step, b.offset)
    exact_x, exact_y = scaled(x, a.step, a.offset, denominator), scaled(y, b.step, b.offset, denominator)
    moved = np.abs(exact_x - exact_y)
    count = int(np.count_nonzero(moved))
    return count, Fraction(int(moved.max()), denominator) if count else Fraction(0)
