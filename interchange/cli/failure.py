"""What is said when something went wrong: one line for people, one document for programs.

Both name the file as it was given, the place and the reason, and quote nothing that was read from inside a file.
"""

from __future__ import annotations

import re
from pathlib import Path
from types import TracebackType
from typing import Any

from interchange.cli.parser import CommandLineError
from interchange.errors import InterchangeError, InternalError, TargetError
from interchange.printable import printable

__all__ = ["ERROR_VERSION", "error_document", "error_line", "explained"]

ERROR_VERSION = 1
_OUR_WORDS = re.compile(r"tracings\[\d+\]\.(samples|missing|rate|start)\b.*")
"""Differences whose two sides are described in numbers and words of this program."""


def explained(error: BaseException) -> InterchangeError:
    """The error itself, or for anything that should not have got here a report of a defect."""
    if isinstance(error, InterchangeError):
        return error
    if isinstance(error, MemoryError):
        return InternalError("there is not enough memory for this")
    if isinstance(error, OSError) and error.__traceback__ and _place(error.__traceback__).startswith("cli/main.py"):
        return TargetError(f"cannot be written: {error.strerror or 'input/output error'}", file="standard output")
    where = _place(error.__traceback__) if error.__traceback__ else ""
    return InternalError(f"internal error ({type(error).__name__} in {where or 'the program'}); please report it")


def error_line(error: InterchangeError) -> str:
    """``interchange: FILE: PLACE: REASON``; where the command line was not understood, with where to read on."""
    hint = ""
    if isinstance(error, CommandLineError):
        hint = f" (see {' '.join(filter(None, ('interchange', error.command, '--help')))})"
    return printable(f"interchange: {error}{hint}")


def error_document(error: InterchangeError) -> dict[str, Any]:
    """The error as plain data (schemas/error.schema.json)."""
    return {
        "document": "interchange error",
        "version": ERROR_VERSION,
        "status": error.status,
        "file": error.file or None,
        "place": error.place or None,
        "reason": error.reason,
        "losses": [_loss(loss) for loss in getattr(error, "losses", ())],
    }


def _loss(loss: Any) -> dict[str, Any]:
    """A protected difference: where and why; values only where they are numbers of ours, never what a file says."""
    quotable = _OUR_WORDS.fullmatch(loss.path) is not None
    return {
        "path": loss.path,
        "field": loss.field,
        "before": loss.before if quotable else None,
        "after": loss.after if quotable else None,
        "reason": loss.reason,
        "protected": loss.protected,
    }


def _place(trace: TracebackType) -> str:
    """File and line, below the package, where an exception came out of our own code."""
    found = ""
    root = Path(__file__).resolve().parent.parent
    step: TracebackType | None = trace
    while step is not None:
        path = Path(step.tb_frame.f_code.co_filename)
        if path.is_relative_to(root):
            found = f"{path.relative_to(root).as_posix()}:{step.tb_lineno}"
        step = step.tb_next
    return found
