"""Worker processes end with the process that they work for."""

from __future__ import annotations

import os
import threading
from multiprocessing import connection, parent_process

__all__ = ["end_with_parent"]


def end_with_parent() -> None:
    """Have a thread wait for the end of the process that started this one, to end this one too, at once.

    Workers would wait for work for ever otherwise.  What they were at is left unfinished under temporary names.
    """
    parent = parent_process()
    if parent is None:
        return
    sentinel = parent.sentinel

    def watch() -> None:
        connection.wait([sentinel])
        os._exit(1)

    threading.Thread(target=watch, name="parent", daemon=True).start()
