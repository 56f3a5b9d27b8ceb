"""The options that remove identity, for every command that converts."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from interchange.errors import UsageError

if TYPE_CHECKING:
    from interchange.deidentify import Key, Policy

__all__ = ["add_deidentification", "key", "policy"]


def add_deidentification(parser: argparse.ArgumentParser) -> None:
    """Describe the options."""
    group = parser.add_argument_group("de-identification (DICOM PS3.15 Annex E, Basic Profile, for all formats)")
    group.add_argument("--deidentify", action="store_true", help="remove identity; what may stay is a fixed list")
    group.add_argument(
        "--key",
        metavar="FILE",
        help="secret for pseudonyms and date offsets; made when missing (default: this run alone)",
    )
    group.add_argument(
        "--keep", choices=("patient",), help="keep sex, age (above 89 pooled), height and weight (option 113108)"
    )
    group.add_argument(
        "--dates",
        choices=("remove", "shift"),
        default=None,
        help="remove (default), or shift: move all dates of a patient alike (113107)",
    )


def policy(arguments: argparse.Namespace) -> Policy | None:
    """What was chosen, None without --deidentify."""
    if not arguments.deidentify:
        if arguments.key is not None or arguments.keep or arguments.dates:
            raise UsageError("--key, --keep and --dates go with --deidentify")
        return None
    from interchange.deidentify import Policy

    return Policy(keep_patient=arguments.keep == "patient", dates=arguments.dates or "remove")


def key(arguments: argparse.Namespace) -> Key:
    """The key of the file, or one for this run alone."""
    from interchange.deidentify import Key, load_key

    return Key() if arguments.key is None else load_key(arguments.key)
