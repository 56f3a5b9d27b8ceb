"""The frame of every page: one file, its style inside, nothing that could be loaded, no script."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable

from interchange._version import __version__
from interchange.report.markup import Html, join, link, tag, text
from interchange.report.style import STYLE

__all__ = ["page"]

ICON = '<link rel="icon" href="data:,">'
"""An empty icon in the page, so that no browser asks for one."""


def page(title: str, head: Iterable[Html], places: Iterable[tuple[str, str]], content: Iterable[Html]) -> bytes:
    """A whole document in UTF-8.

    ``head``: what stands above everything; ``places``: (id, title) of the parts, for the list of links.  The policy in
    the page allows its own style and nothing else: no script, no form, no request.
    """
    key = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{key}'; img-src data:; base-uri 'none'; form-action 'none'"
    contents = tag("ul", [tag("li", link(f"#{name}", words)) for name, words in places])
    foot = tag("footer", tag("p", f"Made by interchange {__version__}. Not a diagnostic device."))
    body = join(
        [
            tag("a", "To the content", class_="skip", href="#content"),
            tag("header", head),
            tag("nav", contents, aria_label="On this page"),
            tag("main", list(content), id="content"),
            foot,
        ],
        "\n",
    )
    document = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="referrer" content="no-referrer">\n<meta name="robots" content="noindex">\n'
        f"<title>{text(title)}</title>\n{ICON}\n<style>{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )
    return document.encode("utf-8", "backslashreplace")
