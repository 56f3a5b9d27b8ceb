"""The tracing as pictures in the page."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from interchange.draw import DrawOptions
from interchange.draw.sheet import drawn_sections
from interchange.draw.svg import svg_page
from interchange.errors import UsageError
from interchange.model import Recording
from interchange.report.markup import Html, figure, section, tag

__all__ = ["pictures", "tracing_section"]

AT_MOST = Fraction(30)
"""Seconds of each tracing that a page shows."""
MOST_CHANNELS = 24


def tracing_section(recording: Recording, options: DrawOptions, number: int = 1) -> Html:
    """Every tracing at its scale; ``number`` keeps the pictures of several recordings on one page apart."""
    square, height = 1000 // options.speed, Fraction(1, options.gain)
    note = (
        f"{options.scale}: a small square is {square} ms wide and {float(height):g} mV high, whatever its size on this "
        "screen. Pictures scroll sideways where they are wider than the window."
    )
    name = "tracing" if number == 1 else f"tracing-{number}"
    return section(name, "Tracing", pictures(recording, options, number), note)


def pictures(recording: Recording, options: DrawOptions, number: int = 1) -> list[Html]:
    """A figure per section of the drawing, and what is not shown."""
    shown, remarks = _cut(recording)
    try:
        sections = drawn_sections(shown, replace(options, paper="letter", portrait=False, at_most=AT_MOST))
    except UsageError as error:
        return [tag("p", f"Not drawn: {error.reason}.")]
    found = []
    for place, (part, sheet) in enumerate(sections, 1):
        key = number * 1000 + place
        svg = Html(svg_page(sheet.pages[0], sheet.title, sheet.description, inline=True, number=key))
        words = " ".join((f"{part.title}.", *part.notes))
        found.append(figure(f"figure-{key}", svg, words, part.title))
    long = [str(n) for n, tracing in enumerate(recording.tracings, 1) if tracing.duration > AT_MOST]
    if long and options.seconds is None:
        remarks.append(f"Of tracing {', '.join(long)} the first {AT_MOST} s are shown; “interchange draw” shows all.")
    return [*(tag("p", remark, class_="alarm") for remark in remarks), *found]


def _cut(recording: Recording) -> tuple[Recording, list[str]]:
    """The recording with at most so many channels per tracing, and a word on the others."""
    remarks, tracings = [], []
    for number, tracing in enumerate(recording.tracings, 1):
        count = len(tracing.channels)
        if count > MOST_CHANNELS:
            remarks.append(f"Of tracing {number} the first {MOST_CHANNELS} of {count} channels are shown.")
            tracings.append(tracing.take(range(MOST_CHANNELS)))
        else:
            tracings.append(tracing)
    return (recording.with_(tracings=tuple(tracings)), remarks) if remarks else (recording, remarks)
