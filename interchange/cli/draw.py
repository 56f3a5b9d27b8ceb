"""Draw a recording on paper, true to scale: PDF, SVG or PNG.

25 mm/s and 10 mm/mV unless asked otherwise; what does not fit goes on in the next row or on the next page, nothing is
scaled to fit.  Of SVG and PNG each page is a file of its own: NAME.svg, NAME-2.svg.  A sheet is a patient document.
"""

from __future__ import annotations

import argparse
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from interchange.cli.convert import add_from, names, tracing_number
from interchange.cli.output import put, tell
from interchange.errors import UsageError

if TYPE_CHECKING:
    from interchange.draw import DrawOptions, Kind
    from interchange.model import Recording

__all__ = ["add_arguments", "add_drawing_arguments", "drawing_options", "execute"]

USAGE = "FILE -o TARGET.pdf|.svg|.png [options]"
KINDS: dict[str, Kind] = {".pdf": "pdf", ".svg": "svg", ".png": "png"}
MOST_DIGITS = 12


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("file", metavar="FILE", help="file to read; of a WFDB record the header")
    parser.add_argument("-o", "--output", metavar="TARGET", required=True, help="file to write: .pdf, .svg or .png")
    add_from(parser)
    parser.add_argument("--overwrite", action="store_true", help="replace a target that exists")
    add_drawing_arguments(parser)
    page = parser.add_argument_group("paper")
    page.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size: a4 (default) or letter")
    page.add_argument("--portrait", action="store_true", help="upright; landscape holds ten seconds at 25 mm/s")
    page.add_argument("--dpi", metavar="N", type=_whole, default=300, help="pixels per inch of PNG (300)")
    page.add_argument("--font", metavar="FILE", help="TrueType font (.ttf) for characters that DejaVu Sans lacks")
    page.add_argument("--most-pages", metavar="N", type=_whole, default=40, help="refuse a longer drawing (40)")
    parts = parser.add_argument_group("what is drawn")
    parts.add_argument("--leads", metavar="LEAD,LEAD", help="these leads alone, in this order")
    parts.add_argument("--tracing", metavar="N", type=tracing_number, help="this one tracing, counted from 1")
    parts.add_argument("--derive", action="store_true", help="add leads that follow exactly, marked derived")


def add_drawing_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of every command that draws."""
    group = parser.add_argument_group("tracing")
    group.add_argument("--speed", type=int, choices=(25, 50), default=25, help="mm/s (25)")
    group.add_argument("--gain", type=int, choices=(5, 10, 20), default=10, help="mm/mV (10)")
    group.add_argument(
        "--layout",
        choices=("auto", "3x4", "6x2", "12x1", "rows"),
        default="auto",
        help="rows x columns; rows: every channel in a row of its own (auto: 3x4 for twelve leads, else rows)",
    )
    group.add_argument("--cabrera", action="store_true", help="limb leads as aVL, I, -aVR, II, aVF, III")
    group.add_argument("--rhythm", metavar="LEAD,LEAD", help="leads of the rhythm rows (II), or none")
    group.add_argument("--start", metavar="S", type=_seconds, help="begin at this second of the recording")
    group.add_argument("--seconds", metavar="S", type=_seconds, help="draw this many seconds")


def execute(arguments: argparse.Namespace) -> int:
    """Draw, and say what was written."""
    from interchange.draw import draw
    from interchange.publish import check_target, publish

    target = Path(arguments.output)
    kind = KINDS.get(target.suffix.lower())
    if kind is None:
        raise UsageError("the name must end with .pdf, .svg or .png", "--output", arguments.output)
    if not arguments.file:
        raise UsageError("the name of the file to read is empty")
    check_target(target, overwrite=arguments.overwrite, source=Path(arguments.file))
    recording = _recording(arguments)
    pages = draw(recording, kind, drawing_options(arguments), font=arguments.font)
    files = [(_page_name(target, number), data) for number, data in enumerate(pages, 1)]
    for name, _ in files[1:]:
        check_target(target.with_name(name), overwrite=arguments.overwrite)
    publish(target.parent, [*files[1:], files[0]], overwrite=arguments.overwrite)
    put("\n".join(str(target.with_name(name)) for name, _ in files))
    left_over = target.with_name(_page_name(target, len(files) + 1))
    if left_over.exists():
        tell(f"{left_over} is left over from another drawing")
    return 0


def drawing_options(arguments: argparse.Namespace) -> DrawOptions:
    """The choices that were made on the command line."""
    from interchange.draw import DrawOptions

    return DrawOptions(
        paper=getattr(arguments, "paper", "a4"),
        portrait=getattr(arguments, "portrait", False),
        speed=arguments.speed,
        gain=arguments.gain,
        layout=arguments.layout,
        cabrera=arguments.cabrera,
        rhythm=_rhythm(arguments.rhythm),
        start=arguments.start,
        seconds=arguments.seconds,
        source=Path(arguments.file).name,
        most_pages=getattr(arguments, "most_pages", 40),
        dpi=getattr(arguments, "dpi", 300),
    )


def _recording(arguments: argparse.Namespace) -> Recording:
    from interchange.api import read
    from interchange.requests import Requests

    wanted = Requests(
        leads=names(arguments.leads, "--leads") if arguments.leads is not None else (),
        tracing=arguments.tracing,
        derive=arguments.derive,
    )
    return wanted.apply(read(arguments.file, arguments.source_format))


def _rhythm(text: str | None) -> tuple[str, ...] | None:
    if text is None:
        return None
    if text.strip().lower() == "none":
        return ()
    from interchange.vocabulary import channel_name, lead_named

    found = [(label, lead_named(label)) for label in names(text, "--rhythm")]
    return tuple(channel_name(lead) if lead else label for label, lead in found)


def _page_name(target: Path, number: int) -> str:
    return target.name if number == 1 else f"{target.stem}-{number}{target.suffix}"


def _seconds(text: str) -> Fraction:
    digits = text.replace(".", "", 1)
    if not (digits.isascii() and digits.isdigit() and len(digits) <= MOST_DIGITS):
        raise argparse.ArgumentTypeError("must be a number of seconds, as 2.5")
    return Fraction(text)


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= len(text) <= 6 and int(text) >= 1):
        raise argparse.ArgumentTypeError("must be a whole number above zero")
    return int(text)
