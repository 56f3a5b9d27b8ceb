"""The recordings of a run with their names in the books and their outputs."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from interchange.batch.find import Found
from interchange.batch.job import Job, Settings
from interchange.batch.names import output_names
from interchange.batch.stamp import stamp
from interchange.deidentify import Key
from interchange.errors import InternalError
from interchange.formats import by_name
from interchange.records import dataclass

__all__ = ["Item", "Todo", "items_of", "mark_of"]

Todo = tuple[str, Job]
"""The stamp of the source, and the job for a worker."""


@dataclass(frozen=True, slots=True)
class Item:
    """A recording with its names in the books: its own name, or a pseudonym in a de-identified run.

    ``reason``: why there is nothing to be tried, empty where there is.
    """

    path: str
    name: str
    output: str
    stamp: str
    format: str | None
    reason: str

    def job(self, folder: Path, number: int, mark: str) -> Todo:
        """The stamp of the source, and the job for a worker."""
        target = str(folder / self.output)
        return self.stamp, Job(self.path, self.name, target, self.output, number, self.format, mark)


def items_of(found: Sequence[Found], settings: Settings) -> list[Item]:
    """What the books and the folder will call each recording; InternalError rather than one name for two."""
    suffix = "" if settings.check_only or settings.format is None else by_name(settings.format).suffix
    stamps = [stamp(item) for item in found]
    if settings.deidentify is not None:
        key = Key(settings.secret)
        names = [f"recording-{key.pseudonym('file', item.name)}" for item in found]
        outputs = [f"{name}{suffix}" for name in names]
        stamps = [key.pseudonym("stamp", words) for words in stamps]
    else:
        names = [item.name for item in found]
        outputs = output_names(found, suffix) if suffix else ["" for _ in found]
    if len(set(names)) < len(names) or (suffix and len({name.casefold() for name in outputs}) < len(outputs)):
        raise InternalError("two recordings would get one name; nothing was done, please report it")
    return [
        Item(item.path, name, output, words, item.format, item.reason)
        for item, name, output, words in zip(found, names, outputs, stamps, strict=True)
    ]


def mark_of(folder: Path) -> str:
    """What the temporary files of the batches into this folder bear in their names, and nobody else's do."""
    return f"b{sha256(str(folder.resolve()).encode('utf-8', 'surrogateescape')).hexdigest()[:8]}-"
