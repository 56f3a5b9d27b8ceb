"""The leads: what each is, how it is defined, and what every format calls it.

A lead that was calculated from others has a row of its own, because MDC and SCP-ECG number it apart; in the model a
channel keeps the trade's name ("V1") and says by its origin that it was calculated.
"""

from __future__ import annotations

from functools import cache
from typing import Any, Literal

from interchange.records import dataclass
from interchange.vocabulary.codes import plain_code
from interchange.vocabulary.load import rows

__all__ = [
    "Lead",
    "calculated_lead",
    "channel_name",
    "lead",
    "lead_by_code",
    "lead_by_legacy",
    "lead_by_mdc",
    "lead_by_refid",
    "lead_by_scp",
    "lead_for_channel",
    "lead_named",
    "leads",
    "recorded_lead",
]

PREFIX = "MDC_ECG_LEAD"
POTENTIAL_PREFIX = "MDC_ECG_ELEC_POTL"
LEGACY_ROOT = "5.6.3-9-"
FIRST_MEANT = {"a": "NehbA", "c": "C", "i": "I"}
"""Printed names of two leads: which of them is meant when nothing but the name was said."""


@dataclass(frozen=True, slots=True)
class Lead:
    """One lead of the table.

    ``id`` is unique and the name in formulas; ``name`` is printed on a tracing (three names stand for two leads);
    ``aliases`` are other labels met.  ``electrodes`` defines the lead in electrode potentials, ``derivable_from``
    lists exact formulas in leads recorded at the same time.  ``mdc_number`` is the term of the MDC code in partition
    2, ``scp_id`` the same number as SCP-ECG's lead id, ``legacy_scpecg`` the code value of DICOM's retired scheme
    SCPECG (read only).  ``nearest_code`` is the broader code to write for a lead that has none.  Text that there is
    not is empty.  ``confidence`` speaks of the identity and the MDC code, ``scp_confidence`` of the SCP-ECG number.

    Sources: DICOM PS3.16 CID 3001, ISO/IEEE 11073-10101, EN 1064; each row names its own.
    """

    id: str
    name: str
    aliases: tuple[str, ...]
    meaning: str
    group: str
    origin: Literal["recorded", "derived"]
    electrodes: str
    mdc_refid: str
    mdc_refid_other: str
    mdc_code: str
    mdc_number: int | None
    scp_id: int | None
    scp_confidence: str
    dicom_code: str
    dicom_meaning: str
    legacy_scpecg: str
    aecg_code: str
    derivable_from: tuple[str, ...]
    nearest_code: str
    source: str
    confidence: str


@cache
def leads() -> tuple[Lead, ...]:
    """All leads in the order of the table: recorded ones first, then the calculated ones."""
    return tuple(map(_lead, range(len(_table()))))


@cache
def _table() -> tuple[list[str], ...]:
    """The rows as text; most programs need a few of them as leads, and find them by single cells."""
    return tuple(rows("leads.csv"))


_ID, _NAME, _ALIASES, _ORIGIN, _TERM, _REFID, _OTHER_REFID = 0, 1, 2, 5, 7, 8, 9
"""Places of cells in a row."""


@cache
def _lead(index: int) -> Lead:
    """The lead in this row."""
    (id_, name, aliases, meaning, group, origin, electrodes, term, refid, refid_other, dicom_meaning, formulas, nearest,
     scp_confidence, source, confidence) = _table()[index]  # fmt: skip
    number = int(term) if term else None
    code = f"2:{term}" if term else ""
    return Lead(
        id=id_,
        name=name,
        aliases=tuple(aliases.split(";")) if aliases else (),
        meaning=meaning,
        group=group,
        origin="derived" if origin == "derived" else "recorded",
        electrodes=electrodes,
        mdc_refid=refid,
        mdc_refid_other=refid_other,
        mdc_code=code,
        mdc_number=number,
        scp_id=number,
        scp_confidence=scp_confidence,
        dicom_code=code if dicom_meaning else "",
        dicom_meaning=dicom_meaning,
        legacy_scpecg=f"{LEGACY_ROOT}{term}" if term else "",
        aecg_code=refid,
        derivable_from=tuple(formulas.split(" ; ")) if formulas else (),
        nearest_code=nearest,
        source=source,
        confidence=confidence,
    )


class _Index:
    """Leads by some key, each made from its row when it is first asked for."""

    __slots__ = ("_places",)

    def __init__(self, places: dict[Any, int]) -> None:
        self._places = places

    def get(self, key: object) -> Lead | None:
        """The lead, or None where there is none."""
        place = self._places.get(key)
        return None if place is None else _lead(place)

    def __getitem__(self, key: object) -> Lead:
        return _lead(self._places[key])


@cache
def _by_id() -> _Index:
    return _Index(_places())


@cache
def _places() -> dict[str, int]:
    """Rows by id."""
    return {row[_ID]: place for place, row in enumerate(_table())}


@cache
def _by_number() -> _Index:
    return _Index({int(row[_TERM]): place for place, row in enumerate(_table()) if row[_TERM]})


@cache
def _by_refid() -> _Index:
    return _Index(
        {
            refid.upper(): place
            for place, row in enumerate(_table())
            for refid in (row[_REFID], row[_OTHER_REFID])
            if refid
        }
    )


@cache
def _by_label() -> _Index:
    """Names and aliases of recorded leads, folded; a name of two leads stands for the commoner one."""
    labels: dict[str, int] = {}
    for place, row in enumerate(_table()):
        if row[_ORIGIN] != "derived":
            for label in (row[_NAME], *row[_ALIASES].split(";")):
                if label:
                    labels.setdefault(_folded(label), place)
    labels.update({label: _places()[id_] for label, id_ in FIRST_MEANT.items()})
    return _Index(labels)


@cache
def _by_channel() -> _Index:
    channels = {}
    for place, row in enumerate(_table()):
        derived = row[_ORIGIN] == "derived"
        id_ = row[_ID].removeprefix("d") if derived else row[_ID]
        channels[_channel_name(id_, _table()[_places()[id_]][_NAME]), derived] = place
    return _Index(channels)


def _channel_name(id_: str, name: str) -> str:
    return name if FIRST_MEANT.get(name.casefold(), id_) == id_ else id_


def _folded(label: str) -> str:
    return " ".join(label.split()).casefold()


def lead(id: str) -> Lead:
    """The lead with this ``id`` of the table.  Raises KeyError where there is none."""
    return _by_id()[id]


def lead_named(label: str) -> Lead | None:
    """The lead that a label in a file stands for, or None.

    Takes the name or an alias of a recorded lead in any case and with blanks around, its id, or an MDC reference id
    (which may be that of a calculated lead).  A bare "I" is limb lead I, "A" Nehb's, "C" a chest lead: the other
    leads printed with these letters are known by their code only.
    """
    text = " ".join(label.split())
    row = _by_id().get(text)
    if row is not None and row.origin == "recorded" and text != "unspecified":
        return row
    return _by_label().get(text.casefold()) or (lead_by_refid(text) if text.upper().startswith(PREFIX) else None)


def lead_by_refid(refid: str) -> Lead | None:
    """The lead with this MDC reference id, or None.

    Any case (documents differ: MDC_ECG_LEAD_aVR, MDC_ECG_LEAD_AVR); the older spellings of the table; the electric
    potential of a lead (MDC_ECG_ELEC_POTL_V1); and the bare last part where it is that of a recorded lead.
    """
    text = refid.strip().upper()
    if text.startswith(POTENTIAL_PREFIX):
        text = PREFIX + text.removeprefix(POTENTIAL_PREFIX)
    if text.startswith(PREFIX):
        return _by_refid().get(text)
    row = _by_refid().get(f"{PREFIX}_{text}")
    return row if row is not None and row.origin == "recorded" else None


def lead_by_mdc(number: int) -> Lead | None:
    """The lead with MDC number ``number``, or None: the term (1) or the whole number (131073)."""
    return _by_number().get(number - 131072 if number >= 131072 else number)


def lead_by_code(code: str) -> Lead | None:
    """The lead with the MDC code ``code`` ("2:1"), or None."""
    partition, _, term = plain_code(code).partition(":")
    known = partition == "2" and term.isascii() and term.isdigit() and len(term) <= 5
    return _by_number().get(int(term)) if known else None


def lead_by_scp(number: int) -> Lead | None:
    """The lead with SCP-ECG lead id ``number`` (EN 1064 5.6), or None."""
    return _by_number().get(number)


def lead_by_legacy(code: str) -> Lead | None:
    """The lead with this code value of DICOM's retired scheme SCPECG ("5.6.3-9-1"), or None."""
    text = code.strip()
    return lead_by_code("2:" + text.removeprefix(LEGACY_ROOT)) if text.startswith(LEGACY_ROOT) else None


def recorded_lead(lead: Lead) -> Lead:
    """The recorded lead of which ``lead`` is the calculated version; a recorded lead is its own."""
    return _by_id()[lead.id.removeprefix("d")] if lead.origin == "derived" else lead


def calculated_lead(lead: Lead) -> Lead | None:
    """The row for ``lead`` when it was calculated instead of recorded, or None where no code tells that."""
    return lead if lead.origin == "derived" else _by_id().get("d" + lead.id)


def channel_name(lead: Lead) -> str:
    """What a channel with this lead is called in the model: the printed name, of a calculated lead too.

    Of two recorded leads with one printed name the rarer is called by its id.
    """
    row = recorded_lead(lead)
    return _channel_name(row.id, row.name)


def lead_for_channel(name: str, derived: bool = False) -> Lead | None:
    """The lead of a channel that the model calls ``name``, or None: the inverse of :func:`channel_name`.

    ``derived``: whether the channel was calculated.  A calculated lead without a row of its own is None.
    """
    return _by_channel().get((name, derived))
