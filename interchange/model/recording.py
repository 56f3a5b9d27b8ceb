"""The recording: what all formats are read into and written from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from interchange.findings import Finding
from interchange.model.about import Acquisition, Patient, Trial
from interchange.model.basic import Code, Extras, Identifier
from interchange.model.content import Mark, Measurement, Statement, Unread
from interchange.model.tracing import Channel, Tracing
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Recording"]


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording of one patient.

    ``tracings``: the rhythm first, in the order of the source.  ``document_id``: the source document's own id (a new
    document gets a new one).  ``deidentification``: by what methods identity was removed (codes of DICOM PS3.16 CID
    7050 with their meaning), empty for a recording that was not de-identified.  ``unread``: what of the source was not
    taken in.  ``findings``: what the reader had to tolerate.  ``format``: the format that it was read from, None when
    it was made from arrays.
    """

    tracings: tuple[Tracing, ...] = ()
    patient: Patient = Patient()
    acquisition: Acquisition = Acquisition()
    measurements: tuple[Measurement, ...] = ()
    marks: tuple[Mark, ...] = ()
    statements: tuple[Statement, ...] = ()
    trial: Trial | None = None
    document_id: Identifier | None = None
    deidentification: tuple[Code, ...] = ()
    extras: Extras = ()
    unread: tuple[Unread, ...] = ()
    findings: tuple[Finding, ...] = ()
    format: str | None = None

    @classmethod
    def from_arrays(
        cls,
        samples: NDArray[Any],
        leads: Sequence[str],
        rate: Fraction | int,
        step: Fraction | int = 1,
        *,
        unit: str | None = "uV",
        missing: NDArray[Any] | None = None,
        **fields: Any,
    ) -> Recording:
        """A recording of one tracing made from integers.

        ``samples``: integers, shape (leads, samples).  ``leads``: one name per row; labels that the lead table knows
        ("AVR", "MDC_ECG_LEAD_V1") become the trade's names.  ``rate``: samples per second.  ``step``: ``unit`` per
        count.  ``missing``: bool of the same shape.  ``fields``: any other field of Recording.  Raises UsageError for
        shapes that do not fit and integers beyond 32 bits.
        """
        from interchange.vocabulary import channel_name, lead_named

        def name(label: str) -> str:
            lead = lead_named(label)
            return channel_name(lead) if lead else label

        channels = tuple(Channel(name(label), unit, Fraction(step)) for label in leads)
        return cls(tracings=(Tracing(channels, samples, Fraction(rate), missing),), **fields)

    @property
    def rhythms(self) -> tuple[Tracing, ...]:
        """The tracings that are no representative beats."""
        return tuple(tracing for tracing in self.tracings if tracing.kind == "rhythm")

    def with_(self, **fields: Any) -> Recording:
        """A copy with these fields replaced."""
        return replace(self, **fields)
