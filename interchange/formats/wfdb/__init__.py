"""WFDB records: a text header, signal files and annotation files that share a name.

Sources: WFDB Applications Guide (header(5), signal(5), annot(5)), WFDB Programmer's Guide, draft "WFDB Header File
version 10".
"""

from interchange.formats.wfdb.account import ACCOUNT
from interchange.formats.wfdb.check import check
from interchange.formats.wfdb.reader import read
from interchange.formats.wfdb.recognise import recognise
from interchange.formats.wfdb.rules import RULES
from interchange.formats.wfdb.writer import encode

__all__ = ["ACCOUNT", "RULES", "check", "encode", "read", "recognise"]
