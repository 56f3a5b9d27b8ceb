"""From the model to a record of protocol 2.x and, where one cannot hold everything, further ones beside it."""

from interchange.formats.scp.writer.record import encode_record

__all__ = ["encode_record"]
