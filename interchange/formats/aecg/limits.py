"""How much of an aECG document is taken beyond the limits of the whole program: nesting and joined samples.

They keep memory and time in proportion to what is there.  The largest document in practice is a day of twelve leads,
some gigabytes; continuous recordings belong in the binary formats (HL7 aECG Continuous Waveforms Supplement, 2013).
"""

from __future__ import annotations

__all__ = ["MAX_GAP_FACTOR", "MAX_GAP_FLOOR", "MAX_NESTING"]

MAX_NESTING = 64
"""Annotations, control variables or derived series inside one another."""

MAX_GAP_FACTOR = 64
MAX_GAP_FLOOR = 1_000_000
"""Segments are joined to one tracing while its cells are at most the floor plus the factor times the samples given."""
