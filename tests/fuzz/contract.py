"""The whole contract of every reader, in one function.

Any bytes give a recording with findings, or an InterchangeError that names the place, within bounded time and memory;
never another exception, never a hang.
"""

from __future__ import annotations

import re
import time
from collections.abc import Mapping

import interchange
from interchange import formats
from interchange.errors import InterchangeError, InternalError
from interchange.model import Recording
from interchange.sources import Source

__all__ = ["SECONDS", "BrokenContractError", "outcome", "try_to_read"]

SECONDS = 5.0
"""A small input that takes longer is a defect (it takes milliseconds)."""


class BrokenContractError(AssertionError):
    """A reader or a check did something else than the contract allows."""


def try_to_read(files: Mapping[str, bytes], format: str | None = None) -> Recording | None:
    """Read and check; the recording, None for a clean error, BrokenContractError for everything else."""
    return _read_and_check(files, format)[0]


def outcome(files: Mapping[str, bytes], format: str) -> str:
    """How reading ended, in words without numbers: ``error: REASON``, or ``read: RULE RULE`` of the findings."""
    recording, reason = _read_and_check(files, format)
    if recording is None:
        return f"error: {re.sub(r'[0-9]+', '#', reason)}"
    return f"read: {' '.join(sorted({finding.rule for finding in recording.findings}))}"


def _read_and_check(files: Mapping[str, bytes], format: str | None) -> tuple[Recording | None, str]:
    began = time.monotonic()
    main = next(reversed(files))
    recording: Recording | None = None
    reason = ""
    try:
        ordered = {main: files[main], **files}
        recording = interchange.read(ordered, format=format)
    except InternalError as error:
        raise BrokenContractError(f"reading raised {error.__cause__!r}") from error
    except InterchangeError as error:
        reason = error.reason
        if not reason:
            raise BrokenContractError("an error without a reason") from error
    except BaseException as error:
        raise BrokenContractError(f"reading raised {error!r}") from error
    if format is not None:
        try:
            formats.load(format).check(Source(files[main], main, main, files))
        except InterchangeError as error:
            if isinstance(error, InternalError):
                raise BrokenContractError("the check failed inside") from error
        except BaseException as error:
            raise BrokenContractError(f"checking raised {error!r}") from error
    if time.monotonic() - began > SECONDS:
        raise BrokenContractError(f"took {time.monotonic() - began:.1f} s")
    return recording, reason
