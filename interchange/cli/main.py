"""``interchange``: find the sub-command, run it, turn every error into one line and an exit status."""

from __future__ import annotations

import os
import sys

from interchange._version import __version__
from interchange.errors import InterchangeError

TYPE_CHECKING = False  # importing typing for it would cost as much as the argument parser
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import NoReturn

__all__ = ["main", "run"]

INTERRUPTED = 130
PIPE_CLOSED = 141
RARE_THRESHOLD = 10_000
TRACEBACK = "INTERCHANGE_TRACEBACK"
"""Environment variable: 1 shows where in the program an error came from (may quote the file: for developers)."""


def run() -> NoReturn:
    """The console command: :func:`main` with the process's own streams and exit status."""
    _travel_light()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    status = main()
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):
            _silence(stream)
    sys.exit(status)


def _travel_light() -> None:
    """Settings for a process that does one thing and ends, which somebody's own settings override.

    Rarer searches for cyclic garbage (numpy and the tables alone would set off dozens), and no threads for linear
    algebra, of which there is next to none.
    """
    import gc

    if 0 < gc.get_threshold()[0] < RARE_THRESHOLD:
        gc.set_threshold(RARE_THRESHOLD, 10, 10)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; nothing is raised."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        status = _dispatch(given)
        if sys.stdout is not None:
            sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _silence(sys.stdout)
        return PIPE_CLOSED
    except BaseException as error:
        return _failed(error, given)


def _dispatch(given: list[str]) -> int:
    if given == ["--version"]:  # the parser knows it too; whoever asks for nothing else does not wait for the parser
        from interchange.cli.output import put

        put(f"interchange {__version__}")
        return 0
    from interchange.cli.parser import Finished, parse

    try:
        found = parse(given)
    except Finished:
        return 0
    status: int = found.execute(found)
    return status


def _failed(error: BaseException, given: list[str]) -> int:
    """Report an error in one line (and as JSON, if that was asked for); its exit status."""
    from interchange.cli.failure import error_document, error_line, explained
    from interchange.cli.output import put_document, tell

    known = explained(error)
    try:
        if os.environ.get(TRACEBACK) == "1":
            import traceback

            tell("".join(traceback.format_exception(error)))
        tell(error_line(known))
        if "--json" in given:
            put_document(error_document(known))
            if sys.stdout is not None:
                sys.stdout.flush()
    except (InterchangeError, OSError, KeyboardInterrupt):
        _silence(sys.stdout)
    return known.status


def _silence(stream: object) -> None:
    """Send what is still to be written nowhere, so that the end of the process does not stumble over it."""
    import contextlib

    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())  # type: ignore[attr-defined]
        os.close(nowhere)
