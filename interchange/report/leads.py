"""The lead set as a picture: a box per lead, told by its frame and in words."""

from __future__ import annotations

from collections.abc import Iterator

from interchange.checks import LeadSummary
from interchange.report.markup import Html, join, lines, section, tag

__all__ = ["lead_section"]


def lead_section(summary: LeadSummary) -> Html:
    """Which leads are there, which follow exactly, which cannot be had."""
    boxes = [tag("li", [tag("b", name), words], class_=kind) for name, kind, words in _boxes(summary)]
    title = f"Lead set: {summary.title}" if summary.title else "Lead set: none of the table"
    content = [tag("p", _sentence(summary), class_="lead"), tag("ul", boxes, class_="leads", aria_label=title)]
    remarks = list(_remarks(summary))
    return section("leads", "Leads", [*content, lines(remarks)] if remarks else content, title)


def _boxes(summary: LeadSummary) -> Iterator[tuple[str, str, str]]:
    """(lead, kind of box, words) in the order of the set, then what else there is."""
    derivable, stood_in = dict(summary.derivable), dict(summary.stood_in)
    for name in dict.fromkeys((*summary.wanted, *summary.present, *summary.extra)):
        if name in summary.missing:
            yield name, "missing", "not recorded"
        elif name in derivable:
            sources = ", ".join(derivable[name].sources)
            yield name, "missing", f"not recorded; follows from {sources}"
        elif name in stood_in:
            yield name, "derived", f"{stood_in[name]} in its place"
        elif name in summary.empty:
            yield name, "missing", "channel without samples"
        elif name in summary.calculated:
            yield name, "derived", "derived"
        else:
            yield name, "present", "recorded" if name in summary.wanted or not summary.wanted else "recorded, extra"


def _sentence(summary: LeadSummary) -> str:
    if not summary.wanted:
        count = len(summary.present) + len(summary.extra)
        return f"{count} leads, {summary.unnamed} channels without the name of a lead"
    text = f"{len(summary.present)} of {len(summary.wanted)} are there"
    if summary.derivable:
        text += f", {len(summary.derivable)} would follow exactly"
    return text + (f", {len(summary.missing)} cannot be had." if summary.missing else ".")


def _remarks(summary: LeadSummary) -> Iterator[str]:
    if summary.duplicates:
        yield f"More than once: {', '.join(summary.duplicates)}"
    if summary.unnamed and summary.wanted:
        yield f"ECG channels without the name of a lead: {summary.unnamed}"
    for name, how in summary.derivable:
        condition = f" ({how.condition})" if how.condition else ""
        yield join([f"{name} = {how.formula}", condition])
