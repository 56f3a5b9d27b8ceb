"""The command line.

``commands.py`` is the table of sub-commands, each a module with ``USAGE``, ``add_arguments(parser)`` and
``execute(arguments) -> int``.  A sub-command's module is imported when it is used; here nothing but the standard
library's argument parser is loaded.
"""
