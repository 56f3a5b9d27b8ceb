"""The time line of a message that is being written: absolute where the instant is known, else relative."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from interchange.formats.aecg.codes import TIME_ABSOLUTE, TIME_RELATIVE
from interchange.formats.aecg.write_types import TYPE, add, add_act_code, add_quantity, ts
from interchange.model import Moment, Recording
from interchange.records import dataclass

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["Clock"]


@dataclass(frozen=True, slots=True)
class Clock:
    """``zero``: moment of the recording's first sample; ``first``, ``last``: seconds from it that the rhythms span."""

    zero: Moment | None
    first: Fraction
    last: Fraction

    @classmethod
    def of(cls, recording: Recording) -> Clock:
        """The clock of a recording."""
        rhythms = recording.rhythms or recording.tracings
        first = min(tracing.start for tracing in rhythms)
        last = max(tracing.start + tracing.duration for tracing in rhythms)
        return cls(recording.acquisition.time, first, last)

    @property
    def absolute(self) -> bool:
        """Whether samples are given in calendar time."""
        if self.zero is None or not self.zero.is_instant or self.zero.year is None:
            return False
        return 2 <= self.zero.year <= 9997 and abs(self.first) < 86400 * 366 and self.last < 86400 * 366

    def at(self, seconds: Fraction) -> str | None:
        """The moment that many seconds after the first sample as TS; None without an absolute time."""
        return ts(self.zero.plus(seconds)) if self.zero is not None and self.absolute else None

    @property
    def low(self) -> str | None:
        """Start of the recording as far as TS can say it."""
        return self.at(self.first) if self.absolute else ts(self.zero)

    @property
    def high(self) -> str | None:
        """End of the recording; None without an absolute time."""
        return self.at(self.last)

    def add_time(self, parent: etree._Element, start: Fraction, step: Fraction, relative: bool) -> None:
        """The time sequence of a set that begins ``start`` seconds after the recording's or the beat's first sample."""
        sequence = add(
            add(parent, "component", {"typeCode": "COMP"}), "sequence", {"classCode": "OBS", "moodCode": "EVN"}
        )
        if self.absolute and not relative:
            add_act_code(sequence, TIME_ABSOLUTE)
            value = add(sequence, "value", {TYPE: "GLIST_TS"})
            add(value, "head", {"value": self.at(start) or ""})
        else:
            add_act_code(sequence, TIME_RELATIVE)
            value = add(sequence, "value", {TYPE: "GLIST_PQ"})
            add_quantity(value, "head", start * 1000, "ms")
        add_quantity(value, "increment", step, "s")

    def add_bounds(self, parent: etree._Element, low: Fraction | None, high: Fraction | None, relative: bool) -> None:
        """A boundary in time: both bounds or one of them."""
        absolute = self.absolute and not relative
        boundary = add(
            add(parent, "component", {"typeCode": "COMP"}), "boundary", {"classCode": "OBS", "moodCode": "EVN"}
        )
        add_act_code(boundary, TIME_ABSOLUTE if absolute else TIME_RELATIVE)
        value = add(boundary, "value", {TYPE: "IVL_TS" if absolute else "IVL_PQ"})
        for name, seconds in (("low", low), ("high", high)):
            if seconds is not None:
                self._add_instant(value, name, seconds, absolute)

    def add_center(self, parent: etree._Element, at: Fraction, relative: bool) -> None:
        """A boundary that is one instant: the peak of a wave."""
        absolute = self.absolute and not relative
        boundary = add(
            add(parent, "component", {"typeCode": "COMP"}), "boundary", {"classCode": "OBS", "moodCode": "EVN"}
        )
        add_act_code(boundary, TIME_ABSOLUTE if absolute else TIME_RELATIVE)
        value = add(boundary, "value", {TYPE: "IVL_TS" if absolute else "IVL_PQ"})
        self._add_instant(value, "center", at, absolute)

    def _add_instant(self, parent: etree._Element, name: str, seconds: Fraction, absolute: bool) -> None:
        if absolute:
            add(parent, name, {"value": self.at(seconds) or ""})
        else:
            add_quantity(parent, name, seconds * 1000, "ms")
