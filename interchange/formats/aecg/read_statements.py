"""Interpretations: statements in groups, with who said them and when."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from interchange.formats.aecg.codes import INTERPRETATION, STATEMENTS
from interchange.formats.aecg.datatypes import code_of, text_of
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.scope import XSI_TYPE, Scope
from interchange.model import Code, Statement

__all__ = ["read_interpretation"]


def read_interpretation(node: Node, upper: str, scope: Scope, other: Callable[[Node, Scope], None]) -> None:
    """An interpretation: its parts are statements of one group, in order; ``other`` reads what is none inside it."""
    group = scope.set.content.interpretations
    if upper != INTERPRETATION:
        group = max(group - 1, 0) if scope.set.content.statements else group
        scope.set.content.interpretations = max(scope.set.content.interpretations, group + 1)
        _statement(node, STATEMENTS[upper], group, scope)
        return
    scope.set.content.interpretations += 1
    before = len(scope.set.content.statements)
    own = text_of(node.take("text"))
    value = node.take("value")
    if value is not None:
        value.get(XSI_TYPE)
        said = text_of(value)
        if own and said:
            scope.set.content.statements.append(_said(said, "interpretation-statement", group, (), scope))
        own = own or said
    if own:
        scope.set.content.statements.append(_said(own, "interpretation-statement", group, (), scope))
    for component in node.takes("component"):
        number = component.find("sequenceNumber")
        if number is not None:
            number.claim()
        inner = component.take("annotation")
        if inner is None:
            continue
        code = inner.find("code")
        name = (code.attributes.get("code") or "").strip().upper() if code else ""
        if name in STATEMENTS:
            inner.take("code")
            code_of(code)
            _statement(inner, STATEMENTS[name], group, scope)
        else:
            other(inner, scope.inside(scope.region, False))
    if len(scope.set.content.statements) == before:
        scope.set.content.interpretations -= 1


def _statement(node: Node, kind: str, group: int, scope: Scope) -> None:
    value = node.take("value")
    codes: list[Code] = []
    text = None
    if value is not None:
        value.get(XSI_TYPE)
        if "code" in value.attributes:
            code = code_of(value)
            if code is not None:
                codes.append(code)
                text = code.meaning or code.value
        else:
            text = text_of(value) or ("" if value.get("nullFlavor") == "NI" else None)
    beside = text_of(node.take("text"))
    for component in node.takes("component"):
        inner = component.find("annotation")
        if inner is None or inner.find("value") is not None:
            component.used = False
            continue
        component.take("annotation")
        code = code_of(inner.take("code"), scope.set.log)
        if code is not None:
            codes.append(code)
    if text is None:
        text, beside = beside, None
    if text is None:
        return
    scope.set.content.statements.append(_said(text, kind, group, tuple(codes), scope))
    if beside and beside != text:
        scope.set.content.statements.append(_said(beside, "interpretation-comment", group, (), scope))


def _said(text: str, kind: str, group: int, codes: tuple[Code, ...], scope: Scope) -> Statement:
    author = scope.set.author
    who: str | None = None
    what: Literal["machine", "person"] | None = None
    if author is not None and author.device is not None:
        who, what = _device_name(author.device), "machine"
    elif author is not None and author.person is not None:
        who, what = author.person or None, "person"
    return Statement(text, kind, group, codes, who or (author.organisation if author else None), what, scope.set.time)


def _device_name(node: Node) -> str | None:
    """Model and software of a device, as the author of what it says."""
    parts = [child.text for child in node.children if child.name in ("manufacturerModelName", "softwareName")]
    return " ".join(part for part in parts if part) or None
