"""How far a run is: a bar that is redrawn on a terminal, a plain line now and then elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TextIO

__all__ = ["Progress"]

_EVERY_PLAIN = 15.0
_EVERY_BAR = 0.2


class Progress:
    """Counts outcomes and shows count, rate, time left and failures on ``stream``."""

    def __init__(self, stream: TextIO, total: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._total = total
        self._clock = clock
        self._terminal = stream.isatty()
        self._began = self._shown = clock()
        self.done = self.failed = 0

    def add(self, done: int, failed: int) -> None:
        """Note finished recordings, ``failed`` of them without success."""
        self.done += done
        self.failed += failed
        now = self._clock()
        if now - self._shown >= (_EVERY_BAR if self._terminal else _EVERY_PLAIN):
            self._shown = now
            self._write(self._line(now))

    def close(self) -> None:
        """Show the final state."""
        self._write(self._line(self._clock()), last=True)

    def _line(self, now: float) -> str:
        passed = max(now - self._began, 1e-9)
        rate = self.done / passed
        left = (self._total - self.done) / rate if self.done else None
        text = f"{self.done} of {self._total}, {rate:.1f}/s, {_clock_text(left)} left, {self.failed} not done"
        if not self._terminal:
            return text
        width = 24
        filled = width * self.done // max(self._total, 1)
        return f"[{'=' * filled}{' ' * (width - filled)}] {text}"

    def _write(self, line: str, last: bool = False) -> None:
        if self._terminal:
            self._stream.write(f"\r{line:<79}" + ("\n" if last else ""))
        else:
            self._stream.write(f"{line}\n")
        self._stream.flush()


def _clock_text(seconds: float | None) -> str:
    if seconds is None:
        return "unknown time"
    minutes, rest = divmod(int(seconds + 0.5), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"
