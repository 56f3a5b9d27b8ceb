"""The argument parser: sub-commands loaded on use, errors as exceptions, no way out but the return value."""

from __future__ import annotations

import argparse
import importlib
import os

from interchange._version import __version__
from interchange.cli.commands import COMMANDS
from interchange.cli.output import put
from interchange.errors import UsageError

TYPE_CHECKING = False  # importing typing for it would cost as much as the argument parser
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any, NoReturn

__all__ = ["CommandLineError", "Finished", "parse"]

TITLE = "Takes 12-lead ECG recordings from one open format to another and says what was carried."
EPILOG = """\
exit status:
  0  yes, done
  1  the answer is no: errors found, a difference; for a batch: not all done or sound
  2  wrong usage
  3  a source cannot be read
  4  the conversion would lose what the policy protects
  5  the target cannot be written, or does not read back as it should

"interchange COMMAND --help" explains a command.
"""


def _unchanged(text: Any) -> Any:
    return text


argparse._ = _unchanged  # type: ignore[attr-defined]
"""Its words stay English: they stand between the English of this program, and :data:`_WORDS` knows them as such."""

MINUS_VALUES = ("--zone",)
"""Options whose value may begin with a minus sign, which would be taken for an option."""


class Finished(Exception):  # noqa: N818 - no error: help or the version was asked for and printed
    """There is nothing more to do."""


class CommandLineError(UsageError):
    """The command line is not one that the program understands; ``command`` is the sub-command, if it got that far."""

    command = ""


class _Help(argparse.RawDescriptionHelpFormatter):
    """Help in 80 to 100 columns.  (The parent would import much just to learn the width of the terminal.)"""

    def __init__(self, prog: str) -> None:
        try:
            columns = os.get_terminal_size(1).columns
        except (OSError, ValueError):
            columns = 0
        super().__init__(prog, max_help_position=26, width=min(max(columns, 80), 100) - 2)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        """Descriptions are filled paragraph by paragraph; what has a table in it stays as it is."""
        if "\n  " in text:
            return super()._fill_text(text, width, indent)
        return "\n\n".join(argparse.HelpFormatter._fill_text(self, part, width, indent) for part in text.split("\n\n"))


class _Parser(argparse.ArgumentParser):
    """Raises UsageError where its parent would end the process; loads its sub-command when it is used."""

    def __init__(self, *, module: str = "", **settings: Any) -> None:
        self._module = module
        self._checking: argparse.HelpFormatter | None = _Help(settings["prog"])
        super().__init__(formatter_class=_Help, allow_abbrev=False, exit_on_error=False, **settings)

    def _get_formatter(self) -> argparse.HelpFormatter:
        """One formatter for all that only holds an argument against its metavar; each help has its own."""
        return self._checking or super()._get_formatter()

    def format_help(self) -> str:
        self._checking = None
        return super().format_help()

    def format_usage(self) -> str:
        self._checking = None
        return super().format_usage()

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        if self._module:
            module = importlib.import_module(self._module)
            self._module = ""
            self.description = (module.__doc__ or "").strip()
            self.usage = f"{self.prog} {module.USAGE}"
            module.add_arguments(self)
            self.set_defaults(execute=module.execute)
        return super().parse_known_args(args, namespace)

    def _print_message(self, message: str, file: Any = None) -> None:
        """Help and version; the parent is silent when they cannot be written."""
        put(message.removesuffix("\n"))

    def error(self, message: str) -> NoReturn:
        raise CommandLineError(_in_our_words(message))

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        raise Finished


def parse(arguments: Sequence[str]) -> argparse.Namespace:
    """The parsed command line; ``execute`` in it is the sub-command's function.

    Raises UsageError for a wrong one and Finished when help or the version was all that was asked for.
    """
    name = arguments[0] if arguments else ""
    module = next((module for known, module, _ in COMMANDS if known == name), "")
    try:
        if module:
            found = _Parser(prog=f"interchange {name}", module=module).parse_args(_joined(arguments[1:]))
            found.command = name
        else:
            found = _all_commands().parse_args(_joined(arguments))
        if found.command is None:
            raise CommandLineError(f"which command? There are {', '.join(name for name, _, _ in COMMANDS)}")
        return found
    except argparse.ArgumentError as error:
        raise _located(_understood(error), arguments) from None
    except CommandLineError as error:
        raise _located(error, arguments) from None


def _all_commands() -> _Parser:
    """The parser of a command line that does not begin with a sub-command."""
    parser = _Parser(prog="interchange", description=TITLE, epilog=EPILOG)
    parser.add_argument("--version", action="version", version=f"interchange {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands", prog="interchange")
    for name, module, summary in COMMANDS:
        commands.add_parser(name, module=module, help=summary)
    return parser


_WORDS = {
    "the following arguments are required: ": "{} is missing",
    "unrecognized arguments: ": "not understood: {}",
}


def _in_our_words(message: str) -> str:
    """What the parent says of a command line, said shorter."""
    for start, words in _WORDS.items():
        if message.startswith(start):
            return words.format(message.removeprefix(start))
    return message


def _understood(error: argparse.ArgumentError) -> CommandLineError:
    if error.argument_name == "COMMAND":
        names = ", ".join(name for name, _, _ in COMMANDS)
        return CommandLineError(f"there is no such command; the commands are {names}")
    return CommandLineError(error.message, error.argument_name or "")


def _located(error: CommandLineError, arguments: Sequence[str]) -> CommandLineError:
    error.command = next((name for name, _, _ in COMMANDS if name in arguments[:1]), "")
    return error


def _joined(arguments: Sequence[str]) -> list[str]:
    """``--zone -05:00`` as ``--zone=-05:00``."""
    joined: list[str] = []
    for text in arguments:
        if joined and joined[-1] in MINUS_VALUES and text[:1] == "-" and text[1:2].isdigit():
            joined[-1] = f"{joined[-1]}={text}"
        else:
            joined.append(text)
    return joined
