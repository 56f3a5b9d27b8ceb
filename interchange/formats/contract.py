"""What a format's writer hands back, and how it accounts for the model."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from interchange.records import dataclass

__all__ = ["Account", "Encoded", "Note", "Place"]


@dataclass(frozen=True, slots=True)
class Note:
    """Why the writer did something, for the receipt.

    ``kind``: ``changed`` and ``left`` give the reason for differences that the comparison will find at ``path``
    (they never make or hide one); ``added`` is something that the target demands and the source lacks; ``info`` is a
    choice worth knowing (storage class and why, coding).  ``path``: a field of the model, as :func:`model paths
    <interchange.model.paths.field_paths>` writes them, e.g. ``tracings.channels.step`` or with indices
    ``tracings[0].channels[3].step``; a path without indices stands for all, and a prefix for all below it.  For
    ``added`` the path names the target's own field.  ``value``: what was added, when it is no personal data.
    """

    kind: Literal["changed", "left", "added", "info"]
    path: str
    reason: str
    value: str = ""


@dataclass(frozen=True, slots=True)
class Encoded:
    """The files of one record.

    ``files``: (plain name, bytes), the main file last: it is published last, and its appearance is the switch.
    ``replaces``: plain-name pattern (``fnmatch``) of files that an earlier record of the same name may have left and
    that go once the new main file stands; () for one-file formats.  ``sign``: bytes that such a file, or
    the file of the main one's suffix that lies beside it under its name, must hold to count as part of the record; one
    without them is somebody else's and is neither replaced nor removed.
    """

    files: tuple[tuple[str, bytes], ...]
    notes: tuple[Note, ...] = ()
    replaces: tuple[str, ...] = ()
    sign: bytes = b""

    @property
    def main(self) -> tuple[str, bytes]:
        """Name and bytes of the main file."""
        return self.files[-1]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a field of the model lives in a format.

    ``how``: ``field`` (its own field), ``text`` (a documented line of text, taken back by the reader), ``partly``
    (values that do not fit are changed or left), ``left`` (no place; ``where`` says why).  ``clause``: document and
    clause.
    """

    where: str
    how: Literal["field", "text", "partly", "left"] = "field"
    clause: str = ""


Account = Mapping[str, Place]
"""Field path of the model -> Place; a path (``patient.birth_date``, ``trial``) stands for all below it."""
