"""Which leads follow exactly from others that were recorded at the same time, and by what formula.

Two of the six limb leads give the other four (all are differences of three electrode potentials); the augmented and
unaugmented forms follow by a factor; bipolar chest leads follow where both electrodes are in use.  A chest lead never
follows from limb leads.  Estimates by a statistical matrix (Dower, Kors, EASI) are no derivations and not made here.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from functools import cache, lru_cache

from interchange.leads.formula import Combination, parse
from interchange.records import dataclass
from interchange.vocabulary import leads

__all__ = ["LIMB_LEADS", "Derivation", "derivation", "derivations"]

LIMB_LEADS = ("I", "II", "III", "aVR", "aVL", "aVF")
SHARED_ELECTRODE = "holds only where the negative electrode is the limb electrode of the same recording"
SHARED_ELECTRODE_NAMES = ("MCL", "CL", "CR", "CF")


@dataclass(frozen=True, slots=True)
class Derivation:
    """How ``lead`` (id of the lead table) follows from recorded leads.

    ``formula`` is the text for people, ``combination`` the same in exact numbers.  ``condition`` is empty or says when
    alone the formula holds.
    """

    lead: str
    combination: Combination
    formula: str
    condition: str = ""

    @property
    def sources(self) -> tuple[str, ...]:
        """Ids of the leads it is calculated from."""
        return self.combination.leads


def derivation(lead: str, recorded: Iterable[str]) -> Derivation | None:
    """How ``lead`` follows from the leads ``recorded`` at the same time (ids), or None.  A recorded lead does not."""
    return derivations(recorded).get(lead)


def derivations(recorded: Iterable[str]) -> dict[str, Derivation]:
    """Every lead that follows exactly from the leads ``recorded`` at the same time (ids), by id.

    The shortest way is taken: what follows directly comes before what needs a lead in between, and of several formulas
    the first of the lead table, which prefers limb leads as recorded to augmented ones (those are often rounded).
    """
    return dict(_derivations(frozenset(recorded)))


@lru_cache(maxsize=256)
def _derivations(recorded: frozenset[str]) -> dict[str, Derivation]:
    known = {name: Combination(((name, Fraction(1)),)) for name in recorded}
    found: dict[str, Derivation] = {}
    while True:
        step = dict(known)
        for name, formulas in _formulas().items():
            formula = next((f for f in formulas if name not in step and step.keys() >= set(f.leads)), None)
            if formula is not None:
                known[name] = formula.inserted(step)
                found[name] = _derivation(name, known[name])
        if len(known) == len(step):
            return found


def _derivation(lead: str, combination: Combination) -> Derivation:
    text = next((text for text, direct in _texts().get(lead, ()) if direct == combination), str(combination))
    shared = lead.rstrip("0123456789") in SHARED_ELECTRODE_NAMES
    return Derivation(lead, combination, text, SHARED_ELECTRODE if shared else "")


@cache
def _texts() -> dict[str, tuple[tuple[str, Combination], ...]]:
    return {row.id: tuple((text, parse(text)) for text in row.derivable_from) for row in leads() if row.derivable_from}


@cache
def _formulas() -> dict[str, tuple[Combination, ...]]:
    """The formulas of the lead table, and the way back of those with one source (aVR = -(-aVR), aVR = 3/2*VR)."""
    formulas = {name: tuple(formula for _, formula in pairs) for name, pairs in _texts().items()}
    for name, pairs in _texts().items():
        for _, formula in pairs:
            if len(formula.terms) == 1:
                ((source, factor),) = formula.terms
                formulas[source] = (*formulas.get(source, ()), Combination(((name, 1 / factor),)))
    return formulas
