"""Write a recording in another format, read it back, compare, and print the receipt.

What is protected (signal, timing, leads, identity) is never changed or lost unless --accept says so; everything else
that does not fit is listed in the receipt.  The receipt quotes what changed: it is a patient document.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from interchange.cli.deidentify import add_deidentification, key, policy
from interchange.cli.output import put, put_document, style, tell, tell_damage, width
from interchange.errors import TargetError, UsageError
from interchange.formats import FORMATS

if TYPE_CHECKING:
    from interchange.receipt import Receipt
    from interchange.requests import Requests
    from interchange.writing import Prepared

__all__ = ["add_arguments", "execute"]

USAGE = "SOURCE TARGET [options]"
FORMAT_NAMES = ", ".join(entry.name for entry in FORMATS)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("source", metavar="SOURCE", help="file to read; of a WFDB record the header")
    parser.add_argument("target", metavar="TARGET", help="file to write; its suffix says the format unless --to does")
    add_conversion_arguments(parser)
    parser.add_argument("--receipt", metavar="FILE", help="also write the receipt as JSON to this file (.json)")
    parser.add_argument("--json", action="store_true", help="print the receipt as JSON, the verdict to standard error")


def add_conversion_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of every command that converts."""
    add_from(parser)
    parser.add_argument("--to", metavar="FORMAT", type=format_name, help=f"format to write: {FORMAT_NAMES}")
    parser.add_argument(
        "--accept",
        metavar="CLASS[,CLASS]",
        action="append",
        default=[],
        help="protected classes that may change: signal, timing, leads, identity",
    )
    parser.add_argument("--overwrite", action="store_true", help="replace a target that exists")
    parser.add_argument(
        "--verify",
        choices=("all", "none"),
        default="all",
        help="all (default): read the target back and compare; none: do not; the receipt then says unverified, and it "
        "and the policy know only what the writer itself noted",
    )
    options = parser.add_argument_group("options of one format")
    for option in {option.name: option for entry in FORMATS for option in entry.options}.values():
        values = f": {', '.join(option.values)}" if option.values else ""
        options.add_argument(
            f"--{option.name}", metavar="VALUE", choices=option.values or None, help=f"{option.help}{values}"
        )
    changes = parser.add_argument_group("changes on request, listed in the receipt")
    changes.add_argument("--set", metavar="FIELD=VALUE", action="append", default=[], help=_set_help())
    changes.add_argument("--time", metavar="TIME", help="acquisition time, as 2031-04-05T14:03:07+02:00")
    changes.add_argument("--zone", metavar="OFFSET", help="zone of the acquisition time, as +02:00")
    changes.add_argument("--relabel", metavar="OLD=NEW", action="append", default=[], help="rename a lead, as V4=V4R")
    changes.add_argument("--leads", metavar="LEAD,LEAD", help="keep these leads, in this order")
    changes.add_argument("--tracing", metavar="N", type=tracing_number, help="keep this one tracing, counted from 1")
    changes.add_argument("--only", choices=("ecg",), help="keep ECG leads, leave other signals")
    changes.add_argument("--derive", action="store_true", help="add leads that follow exactly from others")
    add_deidentification(parser)


def add_from(parser: argparse.ArgumentParser) -> None:
    """The option that names the source's format."""
    parser.add_argument(
        "--from",
        dest="source_format",
        metavar="FORMAT",
        type=format_name,
        help="read as this format, whatever the content looks like",
    )


def execute(arguments: argparse.Namespace) -> int:
    """Convert, and print the receipt."""
    from interchange.api import prepare
    from interchange.receipt import receipt_text, receipt_verdict
    from interchange.writing import Writing, target_path

    beside = _receipt_place(arguments)
    without = policy(arguments)
    writing = Writing(
        target_path(arguments.target),
        arguments.to,
        frozenset(accepted(arguments)),
        arguments.overwrite,
        arguments.verify == "all",
        format_options(arguments),
        beside,
    )
    secret = key(arguments) if without is not None else None
    prepared = prepare(arguments.source, writing, arguments.source_format, requests(arguments), without, secret)
    if arguments.receipt is not None and beside is None:
        receipt = _published_apart(prepared, Path(arguments.receipt))
    else:
        receipt = prepared.publish()
    tell_damage(arguments.source if without is None else receipt.source[0].name, receipt.findings)
    if arguments.json:
        tell(receipt_verdict(receipt))
        put_document(receipt.as_json())
    else:
        put(receipt_text(receipt, width(), style()))
    return 0


def _published_apart(prepared: Prepared, place: Path) -> Receipt:
    """The receipt, in a folder of its own, is on the disk before the target appears, and gets its name right after."""
    from interchange.errors import UnsettledError
    from interchange.publish import Publication, sync_folder

    files = [(place.name, prepared.receipt.as_bytes())]
    publication = Publication(place.parent, files, overwrite=prepared.overwrite)
    try:
        publication.write()
        publication.flush()
        try:
            receipt = prepared.publish()
        except UnsettledError:
            publication.place()
            raise
        try:
            publication.place()
        except TargetError as error:
            raise TargetError(
                f"{error.reason}; {prepared.target} is written, without its receipt", "", error.file
            ) from None
        sync_folder(place.parent, str(place))
        return receipt
    finally:
        publication.drop()


def _receipt_place(arguments: argparse.Namespace) -> str | None:
    """The receipt's name when it goes beside the target (both then appear together); refuses a bad place early."""
    if arguments.receipt is None:
        return None
    from interchange.publish import check_target

    path = Path(arguments.receipt)
    if not path.name.lower().endswith(".json"):
        raise UsageError("the name of the receipt's file must end with .json", "--receipt")
    check_target(path, overwrite=arguments.overwrite, source=Path(arguments.source))
    target = Path(arguments.target)
    try:
        beside = path.parent.resolve() == target.parent.resolve()
    except OSError:
        raise TargetError("cannot be looked at", file=str(path)) from None
    if beside and path.name == target.name:
        raise UsageError("the receipt needs a file of its own", "--receipt")
    return path.name if beside else None


def accepted(arguments: argparse.Namespace) -> tuple[str, ...]:
    """The protected classes that may change."""
    from interchange.compare import PROTECTED

    given = tuple(name for text in arguments.accept for name in names(text, "--accept"))
    if not set(given).issubset(PROTECTED):
        raise UsageError(f"the classes that can be accepted are {', '.join(PROTECTED)}", "--accept")
    return given


def format_options(arguments: argparse.Namespace) -> dict[str, Any]:
    """The options of single formats that were given."""
    keys = {option.name.replace("-", "_") for entry in FORMATS for option in entry.options}
    return {key: value for key in sorted(keys) if (value := getattr(arguments, key)) is not None}


def requests(arguments: argparse.Namespace) -> Requests:
    """The changes that were asked for."""
    from interchange.requests import Requests

    return Requests(
        fields=tuple(pair(text, "--set", "FIELD=VALUE") for text in arguments.set),
        zone=arguments.zone,
        time=arguments.time,
        relabel=tuple(
            pair(part, "--relabel", "OLD=NEW") for text in arguments.relabel for part in names(text, "--relabel")
        ),
        leads=names(arguments.leads, "--leads") if arguments.leads is not None else (),
        tracing=arguments.tracing,
        only_ecg=arguments.only == "ecg",
        derive=arguments.derive,
    )


def format_name(text: str) -> str:
    """The name of a format, in any case."""
    name = text.strip().lower()
    if name not in {entry.name for entry in FORMATS}:
        raise argparse.ArgumentTypeError(f"there is no such format; the formats are {FORMAT_NAMES}")
    return name


def tracing_number(text: str) -> int:
    """A number of a tracing, from 1."""
    if not (text.isascii() and text.isdigit() and 1 <= len(text) <= 6 and int(text) >= 1):
        raise argparse.ArgumentTypeError("must be a whole number, counted from 1")
    return int(text)


def names(text: str, option: str) -> tuple[str, ...]:
    """The parts of a list with commas; UsageError where one is empty."""
    parts = tuple(part.strip() for part in text.split(","))
    if not all(parts):
        raise UsageError("has an empty part; give names with commas between them", option)
    return parts


def pair(text: str, option: str, form: str) -> tuple[str, str]:
    """The two sides of the first equals sign; UsageError where there is none.  (Does not quote: it may be a name.)"""
    key, sign, value = text.partition("=")
    if not sign or not key.strip():
        raise UsageError(f"must have the form {form}", option)
    return key.strip(), value


def _set_help() -> str:
    from interchange.requests import FIELD_NAMES

    return f"set a field: {', '.join(FIELD_NAMES)}, or its path in the model (patient.height)"
