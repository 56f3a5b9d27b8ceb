"""Write a report: one page to read in a browser or on paper, with nothing that has to be loaded.

FILE is a recording, the receipt of a conversion (.json), or a folder.  Of a folder the target is an index with one line
per recording; each recording gets a page of its own beside it (TARGET-0001.html).  A report is a patient document.
"""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from interchange.cli.convert import add_from
from interchange.cli.draw import add_drawing_arguments, drawing_options
from interchange.cli.output import put, tell
from interchange.errors import InterchangeError, UsageError

if TYPE_CHECKING:
    from interchange.checks import CheckConfig, Summary
    from interchange.receipt import Receipt
    from interchange.report import Subject
    from interchange.report.index import Row

__all__ = ["add_arguments", "execute"]

USAGE = "FILE|RECEIPT|FOLDER -o TARGET.html [options]"
RECEIPT = ".receipt.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("file", metavar="FILE", help="recording, receipt of a conversion, or folder")
    parser.add_argument("-o", "--output", metavar="TARGET", required=True, help="page to write: .html")
    add_from(parser)
    parser.add_argument("--overwrite", action="store_true", help="replace pages that exist")
    parser.add_argument("--expect", metavar="LEADSET", help="lead set that must be complete, as standard-12")
    parser.add_argument("--config", metavar="FILE", help="TOML file: rules switched off, limits, device defaults")
    add_drawing_arguments(parser)


def execute(arguments: argparse.Namespace) -> int:
    """Read, check, and write the page."""
    from interchange.publish import check_target

    target = Path(arguments.output)
    if target.suffix.lower() not in (".html", ".htm"):
        raise UsageError("the name must end with .html", "--output", arguments.output)
    if not arguments.file:
        raise UsageError("the name of the file to read is empty")
    given = Path(arguments.file)
    check_target(target, overwrite=arguments.overwrite, source=given)
    if given.is_dir():
        return _folder(arguments, given, target)
    data = _receipt_bytes(given)
    page = _conversion_page(arguments, given, data) if data is not None else _recording_page(arguments, given)
    _publish(target, page, arguments)
    put(str(target))
    return 0


def _publish(target: Path, page: bytes, arguments: argparse.Namespace) -> None:
    from interchange.publish import publish

    publish(target.parent, [(target.name, page)], overwrite=arguments.overwrite)


# One recording -----------------------------------------------------------------------------------------------------


def _subject(file: str, arguments: argparse.Namespace, config: CheckConfig, shown: str = "") -> Subject:
    """Read and check one recording."""
    from interchange import formats
    from interchange.api import open_source, read_opened
    from interchange.checks import build_report
    from interchange.report import Subject

    source = open_source(file)
    recording = read_opened(source, arguments.source_format)
    try:
        findings = formats.load(recording.format or "").check(source)
    except InterchangeError as error:
        raise error.in_file(file) from None
    digest = hashlib.sha256(source.data).hexdigest()
    return Subject(shown or source.name, recording, build_report(recording, findings, config=config), digest)


def _recording_page(arguments: argparse.Namespace, given: Path) -> bytes:
    from interchange.cli.check import check_config
    from interchange.report import recording_page

    subject = _subject(arguments.file, arguments, check_config(arguments))
    return recording_page(subject, drawing_options(arguments), receipt=_receipt_beside(given, subject.sha256))


def _receipt_beside(file: Path, sha256: str) -> Receipt | None:
    """The receipt that lies beside a file and speaks of exactly this file."""
    from interchange.report.receipt_file import read_receipt

    data = _receipt_bytes(file.with_name(file.name + RECEIPT))
    if data is None:
        return None
    try:
        receipt = read_receipt(data)
    except InterchangeError:
        return None
    return receipt if receipt.target and receipt.target[-1].sha256 == sha256 else None


# A receipt ---------------------------------------------------------------------------------------------------------


def _receipt_bytes(path: Path) -> bytes | None:
    """The file's bytes if it is a receipt's, else None."""
    from interchange.report.receipt_file import looks_like_receipt
    from interchange.sources import load

    if path.suffix.lower() != ".json" or not path.is_file():
        return None
    data = load(path)
    return data if data is not None and looks_like_receipt(data) else None


def _conversion_page(arguments: argparse.Namespace, given: Path, data: bytes) -> bytes:
    from interchange.cli.check import check_config
    from interchange.report import receipt_page
    from interchange.report.receipt_file import read_receipt

    receipt = read_receipt(data, arguments.file)
    config = check_config(arguments)
    missing: list[str] = []
    target = _side("target", receipt, given, arguments, config, missing)
    source = _side("source", receipt, given, arguments, config, missing) if not receipt.removals else None
    return receipt_page(receipt, given.name, target, source, drawing_options(arguments), missing)


def _side(
    side: str,
    receipt: Receipt,
    given: Path,
    arguments: argparse.Namespace,
    config: CheckConfig,
    missing: list[str],
) -> Subject | None:
    """The source or the target of a conversion, if the very file that the receipt names is at hand."""
    documents = receipt.target if side == "target" else receipt.source
    if not documents:
        return None
    main = documents[-1]
    asked = any(entry.requested for entry in (*receipt.changed, *receipt.left))
    wanted = [t.written if side == "target" else None if asked else t.digest for t in receipt.tracings]
    for path in _candidates(main.name, given.parent):
        try:
            if not path.is_file() or path.stat().st_size != main.size:
                continue
            found = _subject(str(path), arguments, config)
        except (InterchangeError, OSError, ValueError):
            continue
        held = {tracing.digest for tracing in found.recording.tracings}
        if found.sha256 == main.sha256 and all(digest in held for digest in wanted if digest):
            return found
    missing.append(f"The {side} file is not at hand, or is another than the receipt speaks of: it is not shown.")
    return None


def _candidates(name: str, folder: Path) -> Iterable[Path]:
    """Where a file that a receipt names may lie: beside the receipt, or where the name says (never on a network)."""
    plain = name.replace("\\", "/")
    yield folder / plain.rsplit("/", 1)[-1]
    if not plain.startswith("//"):
        yield Path(name)
        yield folder / name


# A folder ----------------------------------------------------------------------------------------------------------


def _folder(arguments: argparse.Namespace, folder: Path, target: Path) -> int:
    """A page for each recording, then the index; 1 when one of them cannot be read or has errors."""
    from interchange.checks import check_collection
    from interchange.cli.check import check_config
    from interchange.cli.files import recordings_in
    from interchange.publish import check_target
    from interchange.report.index import index_page

    config = check_config(arguments)
    files, others = recordings_in(str(folder))
    pages = [target.with_name(f"{target.stem}-{number:04}{target.suffix}") for number in range(1, len(files) + 1)]
    for page in pages:
        check_target(page, overwrite=arguments.overwrite)
    summaries: list[Summary] = []
    rows = [
        _row(file, folder, page, target, arguments, config, summaries) for file, page in zip(files, pages, strict=True)
    ]
    together = check_collection(summaries, config)
    rest = [Path(name).relative_to(folder).as_posix() for name in others if not name.endswith(RECEIPT)]
    _publish(target, index_page(folder.name or str(folder), rows, together, rest), arguments)
    put("\n".join(str(path) for path in (*(p for p, row in zip(pages, rows, strict=True) if row.address), target)))
    left_over = target.with_name(f"{target.stem}-{len(files) + 1:04}{target.suffix}")
    if left_over.exists():
        tell(f"{left_over} is left over from another report")
    return int(any(row.reason or row.errors for row in rows) or any(f.severity == "error" for f in together))


def _row(
    file: str,
    folder: Path,
    page: Path,
    index: Path,
    arguments: argparse.Namespace,
    config: CheckConfig,
    summaries: list[Summary],
) -> Row:
    """Write the page of one recording; its line in the index."""
    from interchange.checks import summary_of
    from interchange.cli.failure import explained
    from interchange.draw.about import moment_text, name_text
    from interchange.formats import by_name
    from interchange.report import recording_page
    from interchange.report.index import Row

    shown = Path(file).relative_to(folder).as_posix()
    try:
        subject = _subject(file, arguments, config, shown)
        receipt = _receipt_beside(Path(file), subject.sha256)
        back = (index.name, "All recordings of the folder")
        content = recording_page(subject, drawing_options(arguments), receipt=receipt, back=back)
    except Exception as error:
        known = explained(error)
        return Row(shown, reason=": ".join(part for part in (known.place, known.reason) if part))
    _publish(page, content, arguments)
    recording, report = subject.recording, subject.report
    summaries.append(summary_of(recording, shown))
    ids = ", ".join(item.value for item in recording.patient.ids[:2])
    return Row(
        shown,
        page.name,
        by_name(recording.format).title if recording.format else "",
        ", ".join(filter(None, (name_text(recording.patient), ids))),
        moment_text(recording.acquisition.time, recording.acquisition),
        report.verdict,
        report.count("error"),
        report.count("warning"),
        report.count("note"),
        "verified" if receipt and receipt.verified else "not verified" if receipt else "",
    )
