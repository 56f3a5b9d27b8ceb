"""The sub-commands: one line each.  Importing this table imports none of them."""

from __future__ import annotations

__all__ = ["COMMANDS"]

COMMANDS: tuple[tuple[str, str, str], ...] = (
    ("convert", "interchange.cli.convert", "write a recording in another format, with a receipt"),
    ("show", "interchange.cli.show", "who, when, device, leads, tracings, measurements, statements"),
    ("check", "interchange.cli.check", "is it conformant, complete, plausible: findings with place and reason"),
    ("compare", "interchange.cli.compare", "what differs between two recordings, whatever their formats"),
    ("draw", "interchange.cli.draw", "the tracing on paper, true to scale: PDF, SVG, PNG"),
    ("report", "interchange.cli.report", "a page to read: check, tracing, measurements, receipt"),
    ("batch", "interchange.cli.batch", "convert or check whole archives, in parallel, resumable"),
    ("rules", "interchange.cli.rules", "the rules that are checked, each with its reason and source"),
)
"""Name, module, summary.  Each module has ``USAGE``, ``add_arguments(parser)`` and ``execute(arguments) -> int``."""
