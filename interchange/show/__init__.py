"""A recording for people (text) and for programs (JSON, schemas/recording.schema.json).

Names are imported on first use: the receipt uses the layout of this package, and needs nothing else of it.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from interchange.show.document import recording_document
    from interchange.show.text import recording_text

__all__ = ["recording_document", "recording_text"]

_HOME = {"recording_document": "interchange.show.document", "recording_text": "interchange.show.text"}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_HOME[name]), name)
