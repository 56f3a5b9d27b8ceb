"""Convert (or check) every recording below the given folders, in parallel; killed, the same command goes on.

The target folder gets the outputs with a receipt beside each, journal.jsonl (what was done, one line per recording) and
manifest.csv (one row per recording, nothing about the person).  It may lie below a source folder (it is not searched
then), but outputs never go where recordings are searched for: they would be sources the next time.  One batch at a time
may work in it.  --overwrite also replaces a manifest.csv that is not of this program.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Executor
from pathlib import Path
from typing import TYPE_CHECKING

from interchange.cli.convert import accepted, add_conversion_arguments, format_options, requests
from interchange.cli.output import put, put_document, tell
from interchange.errors import UsageError

if TYPE_CHECKING:
    from interchange.batch import Settings

__all__ = ["add_arguments", "execute"]

USAGE = "SOURCE... --into FOLDER [options]"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument(
        "sources",
        metavar="SOURCE",
        nargs="+",
        help="folders, files, or - to read names from standard input: one a line, or ended by NUL characters",
    )
    parser.add_argument("--into", metavar="FOLDER", required=True, help="folder for outputs, journal and manifest")
    parser.add_argument("--jobs", metavar="N", type=_count, default=None, help="processes (default: one per core)")
    parser.add_argument("--check-only", action="store_true", help="check the recordings, write no outputs")
    parser.add_argument("--expect", metavar="LEADSET", help="with --check-only: lead set that must be complete")
    parser.add_argument("--config", metavar="FILE", help="with --check-only: settings of the checks (TOML)")
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="run on the workers of this dask.distributed scheduler (shared folders)"
    )
    add_conversion_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def execute(arguments: argparse.Namespace) -> int:
    """Run the batch, and say how it ended."""
    from interchange.batch import run_batch
    from interchange.batch.progress import Progress
    from interchange.batch.run import summary

    progress: list[Progress] = []

    def watch(total: int) -> Progress:
        progress.append(Progress(sys.stderr, total))
        return progress[0]

    with _ending_in_order(), _executor(arguments.cluster) as executor:
        result = run_batch(
            list(_sources(arguments.sources)),
            arguments.into,
            _settings(arguments),
            executor=executor,
            jobs=arguments.jobs or os.cpu_count() or 1,
            watch=watch,
        )
    for shown in progress:
        if result.worked:
            shown.close()
    words = (
        f"{result.total} recording{'' if result.total == 1 else 's'}: "
        f"{result.done} done, {result.refused} refused, {result.failed} failed"
        + (f"; {result.with_errors} with errors" if result.with_errors and arguments.check_only else "")
        + (f"; {result.with_errors} from a damaged source" if result.with_errors and not arguments.check_only else "")
        + (f"; {result.resumed} of them earlier" if result.resumed else "")
    )
    where = f"{result.manifest} has a row for each, with the reason where one was not done."
    if arguments.json:
        tell(f"{words}\n{where}")
        put_document(summary(result))
    else:
        put(f"{words}\n{where}")
    return result.status


@contextlib.contextmanager
def _ending_in_order() -> Iterator[None]:
    """While this lasts, a request to end (SIGTERM) ends the run as Ctrl-C does: no worker and no half file stays."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before if before is not None else signal.SIG_DFL)


def _settings(arguments: argparse.Namespace) -> Settings:
    from interchange.batch import Settings
    from interchange.cli.check import check_config
    from interchange.cli.deidentify import key, policy

    if arguments.check_only == (arguments.to is not None):
        raise UsageError("needs either --to FORMAT or --check-only", "batch")
    if not arguments.check_only and (arguments.expect is not None or arguments.config is not None):
        raise UsageError("--expect and --config go with --check-only", "batch")
    checks = check_config(arguments) if arguments.check_only else None
    without = policy(arguments)
    secret = key(arguments) if without is not None else None
    return Settings(
        format=arguments.to,
        accept=tuple(sorted(accepted(arguments))),
        overwrite=arguments.overwrite,
        verify=arguments.verify == "all",
        options=tuple(sorted(format_options(arguments).items())),
        requests=requests(arguments),
        check_only=arguments.check_only,
        expect=arguments.expect,
        config=_config(arguments.config),
        deidentify=without,
        secret=secret.secret if secret is not None else None,
        source_format=arguments.source_format,
        now=checks.now if checks is not None else None,
    )


def _config(name: str | None) -> str | None:
    if name is None:
        return None
    try:
        return Path(name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise UsageError("cannot be read as text in UTF-8", file=name) from None


def _sources(given: list[str]) -> Iterator[str]:
    from interchange.cli.files import from_standard_input

    for source in given:
        if source == "-":
            yield from from_standard_input()
        else:
            yield source


@contextlib.contextmanager
def _executor(address: str | None) -> Iterator[Executor | None]:
    """The executor of a dask.distributed scheduler, None without an address."""
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError:
        raise UsageError(
            'needs the extra "cluster": pip install "field-ecg-interchange[cluster]"', "--cluster"
        ) from None
    try:
        client = Client(address, timeout=20)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError, ValueError):
        raise UsageError("no scheduler answers there", "--cluster") from None
    with client:
        yield client.get_executor()  # type: ignore[no-untyped-call]


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= len(text) <= 4 and int(text) >= 1):
        raise argparse.ArgumentTypeError("must be a whole number, at least 1")
    return int(text)
