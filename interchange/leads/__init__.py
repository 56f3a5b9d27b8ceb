"""The algebra of leads: exact derivation, sums that must be zero, and completeness of lead sets.

Names are those of channels in the model or ids of the lead table, as each function says; they differ only where one
printed name stands for two leads.  Everything here is exact, and nothing changes what was recorded.
"""

from __future__ import annotations

from interchange.leads.completeness import Completeness, completeness, identify
from interchange.leads.derivation import LIMB_LEADS, Derivation, derivation, derivations
from interchange.leads.formula import Combination, parse
from interchange.leads.residuals import RELATIONS, Residual, residual, residuals, rounding_tolerance
from interchange.leads.samples import Samples, combine, common_step, derive

__all__ = [
    "LIMB_LEADS",
    "RELATIONS",
    "Combination",
    "Completeness",
    "Derivation",
    "Residual",
    "Samples",
    "combine",
    "common_step",
    "completeness",
    "derivation",
    "derivations",
    "derive",
    "identify",
    "parse",
    "residual",
    "residuals",
    "rounding_tolerance",
]
