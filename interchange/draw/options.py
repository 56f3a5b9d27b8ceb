"""What can be chosen about a drawing."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from interchange.errors import UsageError
from interchange.records import dataclass

__all__ = ["GAINS", "LAYOUTS", "PAPERS", "SPEEDS", "DrawOptions", "Layout"]

Layout = Literal["auto", "3x4", "6x2", "12x1", "rows"]
LAYOUTS: tuple[Layout, ...] = ("auto", "3x4", "6x2", "12x1", "rows")
SPEEDS = (25, 50)
GAINS = (5, 10, 20)
PAPERS = {"a4": (29700, 21000), "letter": (27940, 21590)}
"""Width and height in landscape, hundredths of a millimetre (ISO 216; ANSI/ASME Y14.1)."""
MOST_PAGES = 40


@dataclass(frozen=True, slots=True)
class DrawOptions:
    """Choices for a sheet.

    ``speed`` in mm/s, ``gain`` in mm/mV.  ``layout``: rows x columns, "rows" (all channels below each other), "auto"
    (3x4 where there are at least six of the twelve leads, else rows).  ``cabrera``: limb leads as aVL, I, -aVR,
    II, aVF, III.  ``rhythm``: leads of the rhythm rows; None = II, or V1 where II was not recorded; empty = none.
    ``start``, ``seconds``: draw this stretch of the recording only; ``at_most``: no more than so many seconds of each
    tracing.  ``source``: the file's name as it is to be shown.
    ``most_pages``: a drawing that needs more is refused.  ``dpi``: resolution of PNG.
    """

    paper: str = "a4"
    portrait: bool = False
    speed: int = 25
    gain: int = 10
    layout: Layout = "auto"
    cabrera: bool = False
    rhythm: tuple[str, ...] | None = None
    start: Fraction | None = None
    seconds: Fraction | None = None
    at_most: Fraction | None = None
    source: str = ""
    most_pages: int = MOST_PAGES
    dpi: int = 300

    def __post_init__(self) -> None:
        for name, value, allowed in (
            ("paper", self.paper, tuple(PAPERS)),
            ("speed", self.speed, SPEEDS),
            ("gain", self.gain, GAINS),
            ("layout", self.layout, LAYOUTS),
        ):
            if value not in allowed:
                raise UsageError(f"can be {', '.join(map(str, allowed))}", f"--{name}")
        if not 50 <= self.dpi <= 1200:
            raise UsageError("can be 50 to 1200", "--dpi")
        if self.start is not None and self.start < 0:
            raise UsageError("cannot be before the recording's first sample", "--start")
        if self.seconds is not None and self.seconds <= 0:
            raise UsageError("must be more than nothing", "--seconds")

    @property
    def page(self) -> tuple[int, int]:
        """Width and height of a page in hundredths of a millimetre."""
        width, height = PAPERS[self.paper]
        return (height, width) if self.portrait else (width, height)

    @property
    def scale(self) -> str:
        """Speed and gain in words."""
        return f"{self.speed} mm/s, {self.gain} mm/mV"
