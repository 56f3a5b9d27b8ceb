"""Marks: waves, beats, rhythms, noise and spikes."""

from __future__ import annotations

from fractions import Fraction

from interchange.formats.aecg.codes import CLASS_CODES
from interchange.formats.aecg.concepts import instants, mark_concept
from interchange.formats.aecg.datatypes import code_of, text_of
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.regions import home_of
from interchange.formats.aecg.scope import Scope, first_tracing
from interchange.model import Code, Mark, Measurement

__all__ = ["add_mark", "plain_mark", "read_mark"]


def read_mark(node: Node, upper: str, full: Code | None, value: Node | None, coded: str, scope: Scope) -> None:
    """A wave, beat, rhythm, stretch of noise or spike."""
    named = coded if upper in CLASS_CODES and coded else full.value or "" if full else ""
    concept = mark_concept(named)
    source = None
    words = code_of(value, scope.set.log) if value is not None else None
    if concept is None:
        scope.set.log.add("aecg.annotation-code", node)
        source = words or full
    name = concept.id if concept else "other"
    part = scope.region.part
    if concept is not None and part != "whole":
        instant = instants().get((concept.id, part))
        name = instant or name
    add_mark(node, name, source, scope)


def plain_mark(node: Node, name: str, full: Code | None, value: Node | None, scope: Scope) -> None:
    """A mark that the nomenclature has no code for, under this project's own name."""
    if value is not None:
        value.used = False
    add_mark(node, name, None, scope)


def add_mark(
    node: Node, concept: str, source: Code | None, scope: Scope, measurements: tuple[Measurement, ...] = ()
) -> None:
    """One mark for each lead of the region, with the words of the annotation; later parts belong to it."""
    tracing = scope.region.tracing if scope.region.tracing is not None else first_tracing(scope)
    if tracing is None:
        return
    tracings = scope.set.placed.tracings
    words = text_of(node.take("text"))
    leads: tuple[str | None, ...] = scope.region.leads or (scope.lead,)
    for lead in leads:
        home = home_of(tracing, lead, scope)
        start, end = scope.region.start, scope.region.end
        if start is None:
            start, end = Fraction(0), tracings[home].duration
        elif home != tracing:
            ahead = tracings[tracing].start - tracings[home].start
            start, end = start + ahead, end + ahead if end is not None else None
            if not 0 <= start <= tracings[home].duration:
                scope.set.log.add("aecg.boundary-outside", node)
        scope.set.content.marks.append(
            Mark(concept, home, start, end, lead, words, scope.set.group, measurements, source, scope.set.made)
        )
    scope.mark = len(scope.set.content.marks) - 1 if len(leads) == 1 else None
