"""Leads under other names, wherever a recording names them: channels, marks, measurements, formulas."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from interchange.errors import UsageError
from interchange.vocabulary import channel_name, lead_named

if TYPE_CHECKING:
    from interchange.model import Channel, Mark, Measurement, Recording

__all__ = ["relabelled"]

Item = TypeVar("Item", "Mark", "Measurement")

_NAME = r"[A-Za-z][A-Za-z0-9]*"
"""A lead as a formula names it."""


def relabelled(recording: Recording, renames: Sequence[tuple[str, str]]) -> Recording:
    """The recording with all leads renamed at once, so that two may change places.

    The source's own label of a renamed lead goes, since it still says the old name.  Formulas of derived leads get the
    new names; one in which they cannot stand, or would say something else, goes.  UsageError for a lead that there is
    not, one that is named twice, or a name that two leads would have.
    """
    new = _names(recording, renames)
    for tracing in recording.tracings:
        after = [new.get(name, name) for name in tracing.names]
        twice = next((name for name in after if name in new.values() and after.count(name) > 1), None)
        if twice is not None:
            kept = twice in tracing.names and twice not in new
            raise UsageError(
                f"the recording has a lead {twice} already" if kept else f"two leads would be {twice}", "--relabel"
            )
    minus = {name.removeprefix("-") for t in recording.tracings for name in t.names if name.startswith("-")}

    def channel(held: Channel) -> Channel:
        formula = _formula(held.derived_from, new, minus)
        if held.name in new:
            return replace(held, name=new[held.name], label=None, derived_from=formula)
        return held if formula == held.derived_from else replace(held, derived_from=formula)

    def item(held: Item) -> Item:
        return replace(held, lead=new[held.lead]) if held.lead in new else held

    return recording.with_(
        tracings=tuple(replace(t, channels=tuple(map(channel, t.channels))) for t in recording.tracings),
        marks=tuple(map(item, recording.marks)),
        measurements=tuple(map(item, recording.measurements)),
    )


def _names(recording: Recording, renames: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Old name as the recording has it -> new name as the model has it."""
    held = {name for tracing in recording.tracings for name in tracing.names}
    found: dict[str, str] = {}
    for old, new in renames:
        source, target = lead_named(old), lead_named(new)
        name = old if old in held or source is None else channel_name(source)
        if name not in held:
            raise UsageError(f"the recording has no lead {name}", "--relabel")
        if name in found:
            raise UsageError(f"names the lead {name} twice", "--relabel")
        found[name] = channel_name(target) if target else new
    return found


def _formula(text: str | None, new: Mapping[str, str], minus: set[str]) -> str | None:
    """The formula with the new names; None where it cannot be written with them, or would not be true any more.

    ``minus``: leads of which the recording has the negative under a name of its own; a minus before one of them in a
    formula may be part of the name.
    """
    if text is None:
        return None
    words = {word: word if word in new else _lead(word) for word in re.findall(_NAME, text)}
    touched = {word: name for word, name in words.items() if name in new or name in new.values()}
    odd = any(name in text for name in (*new, *new.values()) if not re.fullmatch(_NAME, name))
    if not touched and not odd:
        return text
    names = [new[name] for name in touched.values() if name in new]
    if odd or len(names) < len(touched) or touched.keys() & minus or not _is_formula(text):
        return None
    if not all(re.fullmatch(f"-?{_NAME}", name) for name in names):
        return None

    def renamed(found: re.Match[str]) -> str:
        name = new.get(words[found[0]], found[0])
        return f"({name})" if name.startswith("-") else name

    return re.sub(_NAME, renamed, text)


def _lead(name: str) -> str:
    """The name that the model has for a lead, however it is written."""
    row = lead_named(name)
    return channel_name(row) if row is not None else name


def _is_formula(text: str) -> bool:
    from interchange.leads.formula import parse

    try:
        parse(text)
    except (ValueError, RecursionError):
        return False
    return True
