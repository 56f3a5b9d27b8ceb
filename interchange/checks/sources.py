"""The published documents that rules name."""

from __future__ import annotations

from typing import Final

__all__ = [
    "A07",
    "BANDWIDTH_CHILD",
    "DEFINITION",
    "ELECTRODE_ALGEBRA",
    "H12",
    "I25",
    "I27",
    "P05",
    "PROJECT",
    "QTC",
    "U18",
    "X01",
]

A07: Final = "AHA/ACC/HRS recommendations for the ECG, part I, Circulation 2007;115:1306-1324"
H12: Final = "High-pass filters and the ST segment, ISRN Cardiology 2012:706217"
BANDWIDTH_CHILD: Final = "Minimum bandwidth for paediatric ECGs, Circulation 2001;104:3087-3090"
I25: Final = "IEC 60601-2-25:2011"
I27: Final = "IEC 60601-2-27:2011"
P05: Final = "Modified electrode placement must be recorded, Postgrad Med J 2005;81:122-125"
U18: Final = "Fourth Universal Definition of Myocardial Infarction, 2018"
X01: Final = "frontal axis from leads I and aVF with the factor 2/sqrt(3) (axis formula correction study)"
ELECTRODE_ALGEBRA: Final = "definition of the leads by electrode potentials"
DEFINITION: Final = "definition of the quantities"
QTC: Final = "formulas of Bazett, Fridericia, Framingham and Hodges"
PROJECT: Final = "threshold of this project"
