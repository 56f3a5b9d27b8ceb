"""Recordings without identity, made so that it can be shown.

The result is built anew from a list of what may stay; whatever is not on the list does not get through, in whatever
field of whatever format it stood.  The rules are those of the DICOM Basic Application Level Confidentiality Profile
(PS3.15 Annex E) for the fields of the model, and the same for all formats.

Limits: the waveform itself can be matched with another of the same person, rare findings and ages can single somebody
out; local rules and the data-protection officer decide.  Data with pseudonyms are still personal data (Regulation (EU)
2016/679, recital 26).
"""

from interchange.deidentify.keys import Key, load_key
from interchange.deidentify.residue import RULES, Residue, find_residue
from interchange.deidentify.rules import Policy, Removal, deidentify

__all__ = ["RULES", "Key", "Policy", "Removal", "Residue", "deidentify", "find_residue", "load_key"]
