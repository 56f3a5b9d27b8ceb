"""How sure each fact of the format is, in one place.

The text of EN 1064 / ISO 11073-91064 (protocol 1.x and 2.x) and of ISO 41064 (protocol 3.0) was not at hand when this
package was written.  Whatever a parser, a rule or a builder rests on has a row here with its confidence:

``seen``      read in a public document, or confirmed by decoding a real record whose checksums and code streams come
              out right to the last bit
``computed``  follows from the layouts by arithmetic
``memory``    known, but the wording could not be looked up
``unsure``    half remembered, or two versions are remembered: the reader takes every form, the writer avoids it

Rules take clause and confidence from their row, so that a finding that rests on memory says so.  Whoever holds the
text of the standard corrects this table first.
"""

from __future__ import annotations

from typing import Final, Literal

from interchange.records import dataclass

__all__ = ["Confidence", "Fact", "fact", "facts"]

Confidence = Literal["seen", "computed", "memory", "unsure"]


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: what it says, where the standard has it, how sure it is, and what is done where it is not sure."""

    says: str
    clause: str
    confidence: Confidence
    handling: str = ""


_TABLE: Final[dict[str, tuple[str, str, Confidence] | tuple[str, str, Confidence, str]]] = {
    # conventions and framing -----------------------------------------------------------------------------------
    "byte-order": ("Binary values have their least significant byte first.", "EN 1064 5.2", "seen"),
    "record-header": (
        "A record begins with its checksum (2 bytes) and its length (4 bytes, all bytes counted).",
        "EN 1064 5.2",
        "seen",
    ),
    "checksum": (
        "CRC-CCITT, initial value 0xFFFF, most significant bit first, no final exclusive-or; it covers everything "
        "behind itself.",
        "EN 1064 5.2",
        "seen",
    ),
    "checksum-zero": (
        "A stored checksum of 0 probably was never computed.",
        "EN 1064 5.2",
        "unsure",
        "reported as wrong, in other words",
    ),
    "section-header": (
        "16 bytes: checksum, id, length with header and padding, section version, protocol version, 6 reserved.",
        "EN 1064 5.2",
        "seen",
    ),
    "even-sections": ("Every section has an even length and begins at an odd byte number.", "EN 1064 5.2", "memory"),
    "versions": (
        "Version bytes are the version times ten: 10, 11, 13, 20, 30.",
        "EN 1064 5.2",
        "memory",
        "no value is refused; 30 and more means the rules of version 3.0",
    ),
    "mark": ("Bytes 11-16 of the header of section 0 hold SCPECG since 2005.", "EN 1064 5.3", "seen"),
    "pointers": (
        "Section 0 has an entry of 10 bytes for each section: id, length, byte number of its first byte from 1.",
        "EN 1064 5.3",
        "seen",
    ),
    "pointer-set": (
        "Entries for sections 0 to 11 are mandatory and ascending, also for absent ones (length and index 0).",
        "EN 1064 5.3",
        "memory",
    ),
    "pointer-set-3": (
        "Records of version 3.0 have entries for sections 0 to 18.",
        "ISO 41064 5.3",
        "unsure",
        "twelve are enough",
    ),
    "reserved": ("Reserved bytes and bits are 0.", "EN 1064 5.2", "memory", "written as 0, reported as a note"),
    "section-numbers": (
        "0 to 11 are defined, 12 to 18 came with version 3.0, 128 to 1023 belong to manufacturers.",
        "EN 1064 5.2",
        "memory",
    ),
    "section-order": (
        "Sections may lie in any order behind section 0; ascending without gaps is customary.",
        "EN 1064 5.3",
        "memory",
    ),
    "mandatory-sections": (
        "Sections 0, 1, 3 and 6 are needed (a published table of contents calls 3 and 6 optional).",
        "EN 1064 5.2",
        "unsure",
        "a missing 6 is a warning, a missing 3 with signal data an error",
    ),
    "version-3-legacy": (
        "Version 3.0 has neither section 4 nor subtraction nor bimodal data.",
        "ISO 41064 5.7",
        "memory",
    ),
    "version-3-sections": (
        "The layouts of sections 12 to 18 are not known.",
        "ISO 41064",
        "unsure",
        "listed, never decoded",
    ),
    # section 1 -------------------------------------------------------------------------------------------------
    "tag-fields": (
        "Fields of tag (1 byte), length (2 bytes), value; tag 255 with length 0 ends the section.",
        "EN 1064 5.4",
        "seen",
    ),
    "tag-mandatory": ("Tags 2, 14, 25, 26 and 255 are mandatory.", "EN 1064 5.4.5", "memory"),
    "tag-repeatable": ("Tags 10, 13, 30, 32 and 35 may be repeated.", "EN 1064 5.4.5", "memory"),
    "tag-lengths": (
        "Fixed lengths: 3 for tags 4, 6, 7, 26; 4 for 5, 25; 1 for 8, 9, 24, 29; 2 for 11, 12, 27, 28, 33.",
        "EN 1064 5.4.5",
        "memory",
    ),
    "tag-codes": ("Code tables of units, sex, race, urgency, filters and mains.", "EN 1064 5.4.5", "memory"),
    "tag-range": (
        "Tags 36 to 199 are reserved (version 3.0 uses some), 200 to 254 belong to manufacturers.",
        "EN 1064 5.4.5",
        "unsure",
        "kept as bytes",
    ),
    "dates": ("Dates are year (2 bytes), month, day; 0-0-0 means not given.", "EN 1064 5.4.5", "memory"),
    "device": (
        "Tags 14 and 15: 35 fixed bytes, a string with its length in byte 36, four strings more.",
        "EN 1064 5.4.5",
        "seen",
    ),
    "compatibility": (
        "Byte 16 of tags 14 and 15: 0xD0 category I, 0xE0 category II, 0x90 to 0xC0 the older levels.",
        "EN 1064 Annex B",
        "unsure",
        "never used for reading",
    ),
    "texts": ("A string ends with one NUL, which its length counts.", "EN 1064 5.4", "memory"),
    "character-sets": (
        "Byte 17 of tag 14 gives the character set of all text of the record.",
        "EN 1064 Annex A",
        "memory",
    ),
    "unicode": (
        "Language code 7 is Unicode; its form is UTF-8 since version 3.0 and not known before.",
        "EN 1064 Annex A",
        "unsure",
        "UTF-8 is tried, then UTF-16; UTF-8 is written",
    ),
    "east-asian": (
        "The multi-byte sets appear with their high bits set, or behind escape sequences.",
        "EN 1064 Annex A",
        "unsure",
        "both are read, neither is written",
    ),
    "zone": (
        "Tag 34: minutes east of UTC (signed, 0x7FFF not used), index (0 not used), description.",
        "EN 1064 5.4.5",
        "memory",
    ),
    "electrodes": (
        "Tag 33: placement of 12-lead and of XYZ electrodes, in the order of CID 3263.",
        "EN 1064 5.4.5",
        "memory",
    ),
    "drugs": (
        "Tag 10: table, class, drug, text; the numbers of the drugs are not sure.",
        "EN 1064 5.4.5",
        "unsure",
        "numbers are kept, names only shown",
    ),
    "history": ("Tag 32: table, then codes of which few are known.", "EN 1064 5.4.5", "unsure", "numbers are kept"),
    # coding ----------------------------------------------------------------------------------------------------
    "huffman-presence": ("Section 2 present means that sections 5 and 6 are Huffman coded.", "EN 1064 5.5", "seen"),
    "huffman-default": (
        "19999 tables stand for the default table of 19 codes; bits run from the most significant of each byte.",
        "EN 1064 5.5, Annex C",
        "seen",
    ),
    "huffman-8-bit": ("Ten bits 1111111110, then the value in 8 bits, two's complement.", "EN 1064 Annex C", "seen"),
    "huffman-16-bit": (
        "Ten bits 1111111111, then the value in 16 bits, two's complement.",
        "EN 1064 Annex C",
        "memory",
    ),
    "huffman-own": (
        "Own tables: code structures of 9 bytes; the first bit of a code is the least significant of its base code.",
        "EN 1064 5.5",
        "memory",
    ),
    "huffman-complete": ("The codes of a table are prefix-free and complete.", "EN 1064 5.5", "memory"),
    "huffman-switch": (
        "A code with switch 0 gives no value: the table with the number in its base value follows.",
        "EN 1064 5.5",
        "memory",
    ),
    "huffman-escape-base": (
        "Whether the base value is added to the extra bits of a longer code.",
        "EN 1064 5.5",
        "unsure",
        "it is not added; a base value other than 0 there is reported",
    ),
    "lead-alignment": ("Each lead begins at a byte of its own, with table 1.", "EN 1064 5.5, 5.9", "seen"),
    "lead-even": (
        "Whether the data of a lead are padded to an even number of bytes.",
        "EN 1064 5.9",
        "unsure",
        "a spare zero byte is tolerated; none is written",
    ),
    "differences": (
        "Differences 0, 1 or 2; the first value, or the first two, are originals.",
        "EN 1064 5.9, Annex C",
        "seen",
    ),
    "signal-header": (
        "Nanovolts per count, microseconds per sample, differences, bimodal flag, bytes of each lead.",
        "EN 1064 5.8, 5.9",
        "seen",
    ),
    "sixteen-bit": ("Samples stay within 16 bits.", "EN 1064 5.9", "memory"),
    "leads": (
        "Section 3: number of leads, flags, then start, end (from 1, inclusive) and code of each lead.",
        "EN 1064 5.6",
        "seen",
    ),
    "lead-flags": (
        "Bit 0 subtraction, bit 2 all simultaneous, bits 3 to 7 how many at a time.",
        "EN 1064 5.6",
        "memory",
    ),
    "lead-flags-31": (
        "More than 31 leads recorded at a time are written as 31.",
        "EN 1064 5.6",
        "unsure",
        "31 is written",
    ),
    "lead-codes": (
        "Lead codes 0 to 184 as in ISO/IEEE 11073-10101, partition 2.",
        "EN 1064 5.6; ISO/IEEE 11073-10101",
        "seen",
    ),
    "lead-codes-memory": (
        "Lead codes 44-60, 79-85, 115-120, 135-146 and 152-184.",
        "EN 1064 5.6",
        "memory",
        "read, never written",
    ),
    "zones": (
        "Section 4: length and fiducial of the reference beat, a subtraction zone and a protected area per QRS.",
        "EN 1064 5.7",
        "seen",
    ),
    "zones-untyped": (
        "A beat of another type has SB = SE = 0 (1 has been met) and nothing was subtracted there.",
        "EN 1064 5.7",
        "seen",
    ),
    "zones-no-areas": (
        "Section 4 may end behind the subtraction zones where bimodal compression is not used.",
        "EN 1064 5.7",
        "seen",
    ),
    "zones-overlap": (
        "Where zones overlap every subtraction was made.",
        "EN 1064 5.7",
        "unsure",
        "all are added back, with a warning",
    ),
    "subtraction": (
        "value(n) = residual(n) x step of section 6 + beat(n - FC + F) x step of section 5, for n = SB ... SE.",
        "EN 1064 5.7, 5.9",
        "seen",
    ),
    "requantised": (
        "Steps of section 6 that are coarser than those of section 5 mean that the residual was rounded.",
        "EN 1064 5.7, Annex C",
        "memory",
    ),
    "beat-length": (
        "Samples of the reference beat: its length in ms over the interval of section 5.",
        "EN 1064 5.7, 5.8",
        "seen",
    ),
    "beat-without-zones": (
        "Without section 4 the length of a Huffman-coded beat follows from its bytes only.",
        "ISO 41064 5.8",
        "unsure",
        "up to 7 trailing bits are dropped, the shortest count that fits all leads is taken, and it is said",
    ),
    "bimodal-interval": (
        "In bimodal records section 6 gives the interval of the decimated zones, section 5 the full rate.",
        "EN 1064 5.9",
        "unsure",
        "where both are equal the factor follows from the number of stored values, 4 first",
    ),
    "bimodal-counts": (
        "A zone of z samples is stored as z / k values, rounded up (or down).",
        "EN 1064 5.9, Annex C",
        "unsure",
        "the count that agrees with the stored data decides",
    ),
    "bimodal-interpolation": (
        "A stored value stands for the centre of its k samples; lines between centres, held at the ends of a zone.",
        "EN 1064 Annex C",
        "unsure",
        "samples of such a lead are marked reconstructed",
    ),
    "acquisition-minimum": ("500 samples/s and 5 microvolts per count are expected.", "EN 1064 6.5", "memory"),
    # measurements and statements -------------------------------------------------------------------------------
    "globals": (
        "Section 7: header (counts, RR, PP), blocks of 16 bytes, spikes of 4 and 6 bytes.",
        "EN 1064 5.10",
        "seen",
    ),
    "globals-overall": (
        "Whether byte 1 counts an overall block too.",
        "EN 1064 5.10",
        "unsure",
        "the number that fills the section",
    ),
    "globals-origin": (
        "Times of a reference beat block count from the start of that beat, those of a single QRS from the start of "
        "the record.",
        "EN 1064 5.10.3",
        "unsure",
        "only differences are taken as intervals",
    ),
    "globals-tail": (
        "QRS types (2 + Q bytes) and additional measurements (9 bytes + tagged fields) follow the spikes.",
        "EN 1064 5.10, 5.10.2.5",
        "memory",
        "taken only where they fit; makers put content of their own there",
    ),
    "globals-tagged": (
        "Tagged fields behind the additional measurements hold QT dispersions.",
        "EN 1064 5.10.2.5",
        "unsure",
        "kept as bytes",
    ),
    "special-values": ("29999 not computed, 19999 wave absent.", "EN 1064 5.10, 5.13", "memory"),
    "special-values-medium": (
        "29998 lead or beat rejected; 999 axis not determined; 0 no value for RR, PP and rates.",
        "EN 1064 5.10, 5.13",
        "memory",
    ),
    "special-9999": (
        "9999 is sometimes quoted as not available.",
        "EN 1064 5.10",
        "unsure",
        "read as no value where 9999 is impossible, with a warning; never written",
    ),
    "lead-measurements": (
        "Section 10: per lead its code, the number of bytes, then signed values of 2 bytes in a fixed order.",
        "EN 1064 5.13",
        "seen",
    ),
    "lead-measurements-late": (
        "Order of the per-lead values 20 to 31, morphology and quality codes.",
        "EN 1064 5.13.5",
        "memory",
    ),
    "report": (
        "Section 8: confirmed flag, date, time, number of statements, then number, length and text of each.",
        "EN 1064 5.11",
        "memory",
    ),
    "coded-statements": ("Section 11: as section 8, with a type byte in front of each text.", "EN 1064 5.14", "memory"),
    "coded-length": (
        "Whether the length of a coded statement counts its type byte.",
        "EN 1064 5.14",
        "unsure",
        "the reading that fills the section is taken; written with the type byte counted",
    ),
    "coded-separator": (
        "Parts of a coded statement are separated by a blank or by NUL.",
        "EN 1064 5.14",
        "unsure",
        "both are read",
    ),
    "acronyms": (
        "Meanings of the acronyms of the universal statement codes; the annex lists more than are known here.",
        "EN 1064 5.14",
        "memory",
        "an unknown acronym is kept as it is",
    ),
    "races": (
        "Codes 1 to 3 of tag 9, in the words of 1993 and 2005.",
        "EN 1064 5.4.5",
        "memory",
        "kept as numbers too",
    ),
    # this project's own use of free text ------------------------------------------------------------------------
    "own-lines": (
        "Free text that begins with [interchange 1] holds values that the format has no field for.",
        "EN 1064 5.4.5, tag 30 (use of this project)",
        "computed",
    ),
}


def fact(name: str) -> Fact:
    """The fact of that name."""
    return Fact(*_TABLE[name])


def facts() -> dict[str, Fact]:
    """All facts by their names."""
    return {name: fact(name) for name in _TABLE}
