"""Control variables: filters, skew, pad value, lead system, and the notes that this project's writer leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from fractions import Fraction

from interchange.formats.aecg.codes import HERTZ, LEAD_SYSTEM, OWN, SAME_UNIT
from interchange.formats.aecg.datatypes import code_text, duration, factor, number, physical, text_of
from interchange.formats.aecg.decimals import fraction_from
from interchange.formats.aecg.limits import MAX_NESTING
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Node
from interchange.model import Filters
from interchange.records import dataclass

__all__ = ["FILTERS", "Controls", "Pad", "Segment", "filters_of", "read_controls", "read_nested", "skew_of"]

FILTERS = ("highpass", "lowpass", "notches", "descriptions")
"""The fields that make up the filters."""

PREFIXES = ("MDC_ECG_CTL_VBL_", "MDC_ATTR_", "MDC_")


@dataclass(slots=True)
class Segment:
    """What the writer notes of a piece of a tracing: which tracing, its length, where the piece begins."""

    tracing: int
    length: int
    first: int


@dataclass(slots=True)
class Pad:
    """What stands for a missing sample: a number among the digits, or with a unit a value of the lead."""

    value: Fraction
    unit: str | None


@dataclass(slots=True, eq=False)
class Controls:
    """What control variables say about a series, a set or a lead.

    ``nodes``: which value said which field; ``taken``: the fields that something was made of.
    """

    highpass: Fraction | None = None
    lowpass: Fraction | None = None
    notches: tuple[Fraction, ...] = ()
    descriptions: tuple[str, ...] = ()
    skew: Fraction | None = None
    pad: Pad | None = None
    placement: str | None = None
    segment: Segment | None = None
    row: int | None = None
    absent: tuple[Node, ...] = ()
    nodes: list[tuple[str, Node]] = field(default_factory=list)
    taken: set[str] = field(default_factory=set)

    def leave_unused(self) -> None:
        """Give back to the unread what nothing was made of."""
        for name, node in self.nodes:
            if name not in self.taken:
                node.used = False

    @property
    def filters(self) -> Filters | None:
        """The filters, None where nothing is said of any."""
        if self.highpass is None and self.lowpass is None and not self.notches and not self.descriptions:
            return None
        return Filters(self.highpass, self.lowpass, self.notches, descriptions=self.descriptions)


def filters_of(chain: Sequence[Controls]) -> Filters | None:
    """The filters of a lead by what is said of it, of its set and of the series, in this order, field by field.

    None where neither of the first two says any: then those of the series hold for the recording.
    """
    if all(controls.filters is None for controls in chain[:2]):
        return None
    high, low, notches, words = (_source(chain, name) for name in FILTERS)
    return Filters(
        high.highpass if high else None,
        low.lowpass if low else None,
        notches.notches if notches else (),
        descriptions=words.descriptions if words else (),
    )


def skew_of(chain: Sequence[Controls]) -> Fraction:
    """The skew of a lead: its own, else that of its set or the series."""
    source = _source(chain, "skew")
    return source.skew or Fraction(0) if source else Fraction(0)


def _source(chain: Sequence[Controls], name: str) -> Controls | None:
    """The first that says something in this field, which is taken now."""
    found = next((controls for controls in chain if getattr(controls, name) not in (None, ())), None)
    if found is not None:
        found.taken.add(name)
    return found


def read_controls(owner: Node, log: Log) -> Controls:
    """Everything that the control variables of ``owner`` say; what is not understood stays unread."""
    found = Controls()
    for outer in owner.takes("controlVariable"):
        inner = outer.take("controlVariable")
        if inner is not None:
            _variable(inner, "", found, log, 0)
    return found


def read_nested(owner: Node, log: Log) -> Controls:
    """What the variables inside a variable say."""
    found = Controls()
    for component in owner.takes("component"):
        inner = component.take("controlVariable")
        if inner is not None:
            _variable(inner, "", found, log, 1)
    return found


def _variable(node: Node, parent: str, found: Controls, log: Log, depth: int) -> None:
    """One variable and those inside it; ``parent`` is the plain name of the one around it."""
    value = node.find("value")
    if parent == "TRACING" and value is not None and value.find("digits") is not None:
        found.absent = (*found.absent, node)
        found.nodes.append(("absent", node))
        return
    code = node.find("code")
    raw = (code.attributes.get("code") or "").strip() if code else ""
    own = code is not None and code.attributes.get("codeSystemName") == OWN
    name = raw.upper()
    for prefix in PREFIXES:
        if name.startswith(prefix):
            name = name.removeprefix(prefix)
            break
    name = name.removeprefix("ATTR_")
    known = _own(raw, node, found, log) if own else _known(name, parent, node, found, log)
    if known:
        code_text(node.take("code"))
        if depth < MAX_NESTING:
            for component in node.takes("component"):
                inner = component.take("controlVariable")
                if inner is not None:
                    _variable(inner, name, found, log, depth + 1)
    else:
        node.used = False


def _known(name: str, parent: str, node: Node, found: Controls, log: Log) -> bool:
    """Take in a variable of the nomenclature; False for one that is not understood."""
    value = node.find("value")
    if name in ("FILTER_LOW_PASS", "FILTER_HIGH_PASS", "FILTER_NOTCH"):
        if value is not None and not _frequency(name, node, found, log):
            value.used = False
        return True
    if name in ("FILTER_CUTOFF_FREQ", "FILTER_NOTCH_FREQ", "NOTCH_FREQ") and value is not None:
        return _frequency(parent if name == "FILTER_CUTOFF_FREQ" else "FILTER_NOTCH", node, found, log)
    if name in ("FILTER_DESCRIPTION", "FILTER_NOTCH_DESCRIPTION") and value is not None:
        text = text_of(node.take("value"))
        if text:
            found.descriptions = (*found.descriptions, text)
            found.nodes.append(("descriptions", value))
        return True
    if name == "TIME_SKEW" and value is not None and found.skew is None:
        found.skew = duration(node.take("value"), log)
        found.nodes.append(("skew", value))
        return found.skew is not None
    if name == "PAD_VALUE" and value is not None and found.pad is None:
        amount, unit = physical(node.take("value"), log)
        if amount is not None:
            found.pad = Pad(amount, None if unit == "1" else unit)
            found.nodes.append(("pad", value))
        return True
    return value is not None and _placement(value, node, found)


def _placement(value: Node, node: Node, found: Controls) -> bool:
    from interchange.vocabulary import lead_sets_by_code

    code = (value.attributes.get("code") or "").strip()
    if not code.upper().startswith("MDC_ECG_LDSYS_") or found.placement is not None:
        return False
    sets = lead_sets_by_code(code)
    found.placement = sets[0].id if len(sets) == 1 else code
    code_text(node.take("value"))
    found.nodes.append(("placement", value))
    return True


def _frequency(kind: str, node: Node, found: Controls, log: Log) -> bool:
    """A cut-off or notch frequency in hertz; zero says nothing (common practice, from memory).

    False for a second one, and for a unit that is no frequency.
    """
    value = node.take("value")
    amount, unit = physical(value, log)
    if amount:
        times = _hertz(unit, node, log)
        if times is None:
            return False
        amount *= times
    if amount is None:
        import re

        text = text_of(value) or ""
        parts = re.fullmatch(r"\s*([0-9.]{1,20})\s*(Hz|HZ|hz)?\s*", text)
        amount = fraction_from(parts[1]) if parts else None
        if amount is None:
            if text:
                found.descriptions = (*found.descriptions, text)
                _note("descriptions", value, found)
            return True
    if amount <= 0:
        return True
    if kind == "FILTER_LOW_PASS" and found.lowpass is None:
        found.lowpass, name = amount, "lowpass"
    elif kind == "FILTER_HIGH_PASS" and found.highpass is None:
        found.highpass, name = amount, "highpass"
    elif kind == "FILTER_NOTCH":
        found.notches, name = (*found.notches, amount), "notches"
    else:
        return False
    _note(name, value, found)
    return True


def _note(name: str, value: Node | None, found: Controls) -> None:
    if value is not None:
        found.nodes.append((name, value))


def _hertz(unit: str | None, node: Node, log: Log) -> Fraction | None:
    """What one of the unit is in hertz, which are meant where there is none; None for a unit that is no frequency."""
    if unit is None or unit == "1":
        log.add("aecg.filter-unit", node, "there is none; hertz were taken")
        return Fraction(1)
    name = "Hz" if unit.lower() == "hz" else SAME_UNIT.get(unit, unit)
    if name not in HERTZ:
        log.add("aecg.filter-unit", node, "it is no frequency; the filter was not taken in")
        return None
    return factor(HERTZ[name])


def _own(name: str, node: Node, found: Controls, log: Log) -> bool:
    """Take back what this project's writer noted (see :mod:`interchange.formats.aecg.write_series`)."""
    value = node.find("value")
    if value is not None and name == LEAD_SYSTEM:
        return _placement(value, node, found)
    amount = number(node.take("value"), log)
    whole = int(amount) if amount is not None and amount.denominator == 1 and 0 <= amount < 2**31 else None
    if name in ("TRACING", "TRACING_LENGTH", "FIRST_SAMPLE", "CHANNEL"):
        _note("row" if name == "CHANNEL" else "segment", value, found)
    if name == "TRACING" and whole is not None:
        found.segment = Segment(whole, 0, 0)
    elif name == "TRACING_LENGTH" and whole is not None and found.segment is not None:
        found.segment.length = whole
    elif name == "FIRST_SAMPLE" and whole is not None and found.segment is not None:
        found.segment.first = whole
    elif name == "CHANNEL" and whole is not None:
        found.row = whole
    else:
        return False
    return True
