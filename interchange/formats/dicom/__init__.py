"""DICOM waveforms of the four ECG storage classes (PS3.3 A.34.3, A.34.4, A.34.5, A.34.18)."""

from __future__ import annotations

from interchange.formats.dicom.account import ACCOUNT
from interchange.formats.dicom.check import check
from interchange.formats.dicom.read import read
from interchange.formats.dicom.recognise import recognise
from interchange.formats.dicom.rules import RULES
from interchange.formats.dicom.write import encode

__all__ = ["ACCOUNT", "RULES", "check", "encode", "read", "recognise"]
