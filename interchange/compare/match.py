"""Which item of one list belongs to which of the other.

First equal items, then items with the same key (from the strictest key to the loosest), then, when as many are left on
both sides, in order.  Everything is done with dictionaries, so that it stays linear.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Hashable, Sequence
from typing import Any

from interchange.model import Code, Device, Identifier, Mark, Measurement, Statement

__all__ = ["match"]

Key = Callable[[Any], Hashable]

_KEYS: dict[type, tuple[Key, ...]] = {
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


def match(before: Sequence[Any], after: Sequence[Any]) -> tuple[list[tuple[int, int]], list[int], list[int]]:
    """(pairs of indices, indices only in the first, indices only in the second)."""
    if len(before) == len(after) and all(a == b for a, b in zip(before, after, strict=True)):
        return [(i, i) for i in range(len(before))], [], []
    pairs: list[tuple[int, int]] = []
    left, right = list(range(len(before))), list(range(len(after)))
    sample = before[0] if before else after[0]
    for key in (_identity, *_KEYS.get(type(sample), ())):
        left, right = _pair_by(key, before, after, left, right, pairs)
        if not left or not right:
            break
    if len(left) == len(right):
        pairs.extend(zip(left, right, strict=True))
        left, right = [], []
    return sorted(pairs), left, right


def _identity(item: Any) -> Hashable:
    return item  # type: ignore[no-any-return]


def _pair_by(
    key: Key,
    before: Sequence[Any],
    after: Sequence[Any],
    left: list[int],
    right: list[int],
    pairs: list[tuple[int, int]],
) -> tuple[list[int], list[int]]:
    waiting: dict[Hashable, deque[int]] = defaultdict(deque)
    for index in right:
        waiting[key(after[index])].append(index)
    rest: list[int] = []
    for index in left:
        found = waiting.get(key(before[index]))
        if found:
            pairs.append((index, found.popleft()))
        else:
            rest.append(index)
    return rest, sorted(index for queue in waiting.values() for index in queue)
