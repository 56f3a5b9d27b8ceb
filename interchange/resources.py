"""Files that travel with the package: the schemas, in a clone and in an installed wheel."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from interchange.errors import InternalError

__all__ = ["schema"]


@cache
def _schemas() -> Path:
    here = Path(__file__).resolve().parent
    for folder in (here / "_schemas", here.parent / "schemas"):
        if folder.is_dir():
            return folder
    raise InternalError("the schemas were not installed with the package")


def schema(name: str) -> Path:
    """Path of a file below the project's ``schemas`` folder ("aecg/AnnotatedECG.xsd")."""
    path = _schemas() / name
    if not path.is_file():
        raise InternalError(f"schema {name} was not installed with the package")
    return path
