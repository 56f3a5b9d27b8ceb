"""Where each field of the model lives in a record (EN 1064), or why it is left behind.

``text`` stands for a line in a free text of section 1 (tag 30), as :mod:`interchange.formats.scp.carried` describes
them: the reader takes it back from there.
"""

from __future__ import annotations

from typing import Final

from interchange.formats.contract import Account, Place

__all__ = ["ACCOUNT"]

_TAGS: Final = "EN 1064 5.4.5"
_SIGNAL: Final = "EN 1064 5.6, 5.9"


def _text(beyond: str = "") -> Place:
    where = "a line of free text (section 1 tag 30)"
    return Place(f"{beyond}; else {where}" if beyond else where, "text", _TAGS)


def _tag(*numbers: int, beyond: str = "") -> Place:
    """Tags of section 1; what they cannot hold exactly goes into a line beside them."""
    names = "section 1 tag " + ", ".join(map(str, numbers))
    return Place(f"{names}{beyond}; what it cannot hold exactly also as a line of free text", "field", _TAGS)


ACCOUNT: Final[Account] = {
    # samples
    "tracings.samples": Place("section 6, or 5 for a representative beat: one step of whole nanovolts for all",
                              "partly", _SIGNAL),
    "tracings.missing": Place("a lead may begin later or end earlier; other missing samples are 0, without a mark",
                              "partly", _SIGNAL),
    "tracings.rate": Place("section 6 bytes 3-4: whole microseconds between samples", "partly", _SIGNAL),
    "tracings.start": Place("section 3, starting sample of each lead; of a further file a line of free text",
                            "partly", _SIGNAL),
    "tracings.kind": Place("section 6 or section 5", "field", "EN 1064 5.8, 5.9"),
    "tracings.label": _text(),
    "tracings.of": Place("a representative beat belongs to the rhythm of its record", "text", "EN 1064 5.8"),
    "tracings.fiducial": Place("section 4 bytes 3-4", "text", "EN 1064 5.7"),
    "tracings.beat": Place("section 5 holds beat type 0", "text", "EN 1064 5.8"),
    "tracings.extras": _text(),
    "tracings.channels.name": Place("section 3, lead code; without a code a line of free text", "text", _SIGNAL),
    "tracings.channels.unit": Place("samples are voltages; another unit has no place", "partly", _SIGNAL),
    "tracings.channels.step": Place("section 6 bytes 1-2: one step for all leads", "partly", _SIGNAL),
    "tracings.channels.offset": Place("SCP-ECG has no offset: it is added to the samples", "partly", _SIGNAL),
    "tracings.channels.origin": Place("section 3, codes of derived leads; else a line of free text", "text", _SIGNAL),
    "tracings.channels": _text(),
    # the patient
    "patient.ids": _tag(2, beyond=" (the first)"),
    "patient.name": _tag(0, 1, 3),
    "patient.birth_date": _tag(5),
    "patient.age": _tag(4),
    "patient.sex": _tag(8),
    "patient.height": _tag(6),
    "patient.weight": _tag(7),
    "patient.race": _tag(9),
    "patient.systolic": _tag(11),
    "patient.diastolic": _tag(12),
    "patient.drugs": _tag(10),
    "patient.history": _tag(32, 35),
    "patient": _text(),
    # the acquisition
    "acquisition.time": _tag(25, 26, 34),
    "acquisition.devices": _tag(14, 15),
    "acquisition.site": _tag(16, 18, 23),
    "acquisition.operator": _tag(22),
    "acquisition.referring": _tag(20),
    "acquisition.confirming": _tag(21),
    "acquisition.filters": _tag(27, 28, 29),
    "acquisition.electrode_placement": _tag(33),
    "acquisition.mains": Place("section 1 tag 14 byte 19; else a line of free text", "field", _TAGS),
    "acquisition.reasons": _tag(13),
    "acquisition.remarks": Place("section 1 tag 30", "field", _TAGS),
    "acquisition.urgency": _tag(24),
    "acquisition.sequence_number": _tag(31),
    "acquisition": _text(),
    # what was measured, marked and said
    "measurements": Place("sections 7 and 10; else a line of free text", "text", "EN 1064 5.10, 5.13"),
    "marks": Place(
        "sections 4 and 7: beats with a representative beat, pacing spikes, onsets and offsets on the representative "
        "beat; others as lines of free text, together at most 200",
        "partly",
        "EN 1064 5.7, 5.10",
    ),
    "statements.text": Place("section 8, one report: the confirmed one, else the first", "partly", "EN 1064 5.11"),
    "statements.codes": Place("section 11; codes of other schemes as lines of free text", "text", "EN 1064 5.14"),
    "statements.time": Place("section 8 bytes 2-8; else a line of free text", "text", "EN 1064 5.11"),
    "statements.confirmed": Place("section 8 byte 1, which says confirmed or not", "text", "EN 1064 5.11"),
    "statements.overread": Place("section 8 byte 1; else a line of free text", "text", "EN 1064 5.11"),
    "statements": Place("section 8 holds one report; else a line of free text", "text", "EN 1064 5.11"),
    "trial": _text(),
    "document_id": _text(),
    "deidentification": _text(),
    "extras": _text(),
}  # fmt: skip
