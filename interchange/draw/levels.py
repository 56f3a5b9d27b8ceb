"""J-point and ST levels per lead as a table in lead order: microvolts and millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from interchange.draw.leads import CABRERA, STANDARD
from interchange.model import Measurement, Recording
from interchange.records import dataclass
from interchange.show.measured import CELLS, LEVELS

__all__ = ["LevelTable", "level_table", "millimetres"]

MICROVOLTS_PER_MM = 100
"""1 mm is 100 microvolts at 10 mm/mV, the scale in which published criteria speak of millimetres."""


@dataclass(frozen=True, slots=True)
class LevelTable:
    """``leads``: the columns; ``rows``: a name and one cell per lead ("166 (1.66)"), empty where there is nothing."""

    leads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


def level_table(recording: Recording, *, cabrera: bool = False) -> LevelTable | None:
    """The table, or None where no level was measured.

    Leads stand in the order of the sheet, then as the file has them.
    """
    found = [item for item in recording.measurements if item.lead is not None and item.concept in LEVELS]
    if not found:
        return None
    held = dict.fromkeys(item.lead or "" for item in found)
    order = CABRERA if cabrera else STANDARD
    leads = [name for name in order if name in held] + [name for name in held if name not in order]
    beats = len({item.beat for item in found if item.beat is not None}) > 1
    names = list(LEVELS)
    found.sort(key=lambda item: (names.index(item.concept), item.beat or 0))
    rows: dict[str, dict[str, list[str]]] = {}
    for item in found:
        beat = f", beat type {item.beat}" if beats and item.beat is not None else ""
        cells = rows.setdefault(f"{LEVELS[item.concept]}{beat}", {})
        cells.setdefault(item.lead or "", []).append(_cell(item))
    return LevelTable(
        tuple(leads),
        tuple((name, tuple(" | ".join(cells.get(lead, ())) for lead in leads)) for name, cells in rows.items()),
    )


def _cell(item: Measurement) -> str:
    if item.value is None:
        return CELLS[item.absent] if item.absent else item.text or "–"
    if item.unit != "uV":
        return f"{_signed(Fraction(item.value), 2)} {item.unit or ''}".strip()
    return f"{_signed(Fraction(item.value), 1)} ({millimetres(item.value)})"


def millimetres(microvolts: int | Fraction) -> str:
    """Millimetres at 10 mm/mV, two decimals."""
    text = f"{float(Fraction(microvolts) / MICROVOLTS_PER_MM):.2f}"
    return "0.00" if text == "-0.00" else text.replace("-", "−")


def _signed(value: Fraction, places: int) -> str:
    """At most so many decimals, a true minus sign."""
    text = f"{float(value):.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text.replace("-", "−")


def in_parts(table: LevelTable, most: int) -> Sequence[LevelTable]:
    """The table in tables of at most ``most`` leads, about as many in each."""
    parts = []
    most = -(-len(table.leads) // -(-len(table.leads) // most))
    for begin in range(0, len(table.leads), most):
        part = slice(begin, begin + most)
        parts.append(LevelTable(table.leads[part], tuple((name, cells[part]) for name, cells in table.rows)))
    return parts
