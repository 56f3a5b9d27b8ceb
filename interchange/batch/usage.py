"""Wrong usage that concerns every recording is said once, before anything is done."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from interchange.errors import UsageError
from interchange.formats import by_name

if TYPE_CHECKING:
    from interchange.batch.job import Settings
    from interchange.requests import Requests

__all__ = ["check_usage"]


def check_usage(settings: Settings) -> None:
    """UsageError for what makes no sense with any recording; what depends on the recording is a row in the books."""
    if settings.check_only:
        _nothing_written(settings)
        return
    if settings.format is None:
        raise UsageError("needs a format to write", "--to")
    from interchange.writing import Writing

    target = Path(f"recording{by_name(settings.format).suffix}")
    accept = frozenset(settings.accept)
    Writing(target, settings.format, accept, settings.overwrite, settings.verify, dict(settings.options))
    if settings.requests:
        _check_requests(settings.requests)


def _nothing_written(settings: Settings) -> None:
    """UsageError for what only a conversion can do."""
    given = {
        "--to": settings.format is not None,
        "--accept": bool(settings.accept),
        "--verify": not settings.verify,
        "--deidentify": settings.deidentify is not None,
        **{f"--{name.replace('_', '-')}": True for name, _ in settings.options},
    }
    for option, there in given.items():
        if there:
            raise UsageError("does not go with --check-only", option)
    if settings.requests:
        raise UsageError("changes on request do not go with --check-only")


def _check_requests(requests: Requests) -> None:
    """Try on an empty recording what does not depend on what is there: times, zones, plain fields."""
    from dataclasses import replace

    from interchange.model import Recording
    from interchange.model.paths import field_paths
    from interchange.requests import FIELD_NAMES

    empty = Recording()
    nothing = type(requests)()
    if requests.time is not None:
        replace(nothing, time=requests.time).apply(empty)
    if requests.zone is not None:
        replace(nothing, time=requests.time or "2000-01-01T00:00:00", zone=requests.zone).apply(empty)
    for field, value in requests.fields:
        path = FIELD_NAMES.get(field, field)
        bare = "".join(part.partition("]")[2] if index else part for index, part in enumerate(path.split("[")))
        plain = bare == path and bare.count(".") == 1 and not bare.startswith("trial.")
        try:
            replace(nothing, fields=((field, value),)).apply(empty)
        except UsageError:
            if plain or not value.strip() or bare not in field_paths():
                raise
