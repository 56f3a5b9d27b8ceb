"""A recording for people (text) and for programs (JSON, schemas/recording.schema.json)."""

from interchange.show.document import recording_document
from interchange.show.text import recording_text

__all__ = ["recording_document", "recording_text"]
