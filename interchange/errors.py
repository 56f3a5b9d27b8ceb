"""Every error that a file or a request can cause.

One rule for all messages: they name the file as the caller gave it, the place and the reason, and never quote
what was read from inside a file (a patient's name has no business in a log).  ``status`` is the exit status of
the command line.
"""

from __future__ import annotations

__all__ = [
    "InterchangeError",
    "InternalError",
    "RefusedError",
    "SourceError",
    "TargetError",
    "UnsettledError",
    "UsageError",
]


class InterchangeError(Exception):
    """Parent of all errors; raise one of the children.

    ``reason`` says what is wrong in one sentence, ``place`` where in the file or the model (byte offset, header
    line, element path, tag path, field), ``file`` the path as given (filled in by whoever knows it).
    """

    status = 3

    def __init__(self, reason: str, place: str = "", file: str = "") -> None:
        super().__init__(reason)
        self.reason = reason
        self.place = place
        self.file = file

    def __str__(self) -> str:
        return ": ".join(part for part in (self.file, self.place, self.reason) if part)

    def in_file(self, file: str) -> InterchangeError:
        """The same error, naming ``file`` unless it names one already."""
        self.file = self.file or file
        return self


class UsageError(InterchangeError):
    """The request itself makes no sense (exit status 2)."""

    status = 2


class SourceError(InterchangeError):
    """A source cannot be read (exit status 3)."""

    status = 3


class RefusedError(InterchangeError):
    """The conversion would lose what the policy protects, or the target cannot hold it (exit status 4).

    ``losses`` holds the protected differences, in the form of the receipt's entries.
    """

    status = 4

    def __init__(self, reason: str, place: str = "", file: str = "", losses: tuple[object, ...] = ()) -> None:
        super().__init__(reason, place, file)
        self.losses = losses


class TargetError(InterchangeError):
    """The target cannot be written, or what was written does not read back as it should (exit status 5)."""

    status = 5


class UnsettledError(TargetError):
    """Everything is written and in its place, but whether its name survives a power failure is not certain."""


class InternalError(InterchangeError):
    """A defect of this program: please report it."""

    status = 5
