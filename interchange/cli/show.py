"""Show a recording: who, when, device, leads, tracings, measurements, statements, what was not read.

What is printed is a patient document.
"""

from __future__ import annotations

import argparse

from interchange.cli.convert import add_from
from interchange.cli.output import put, put_document, style, width
from interchange.errors import UsageError

__all__ = ["add_arguments", "execute"]

USAGE = "FILE [options]"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("file", metavar="FILE", help="file to read; of a WFDB record the header")
    add_from(parser)
    parser.add_argument("--json", action="store_true", help="print every field of the recording as JSON")
    parser.add_argument("--samples", action="store_true", help="with --json: the samples too, as stored integers")


def execute(arguments: argparse.Namespace) -> int:
    """Read, and print."""
    from interchange.api import read

    if arguments.samples and not arguments.json:
        raise UsageError("goes with --json only", "--samples")
    recording = read(arguments.file, arguments.source_format)
    from interchange.show import recording_document, recording_text

    if arguments.json:
        put_document(recording_document(recording, file=arguments.file, samples=arguments.samples))
    else:
        put(recording_text(recording, file=arguments.file, width=width(), style=style()))
    return 0
