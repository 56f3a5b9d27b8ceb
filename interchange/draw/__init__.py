"""The tracing on paper: true to scale, with everything that has to stand beside it.

``plan`` says which lead stands where, ``rows`` and ``pack`` give it its place, ``sheet`` puts heading and foot around
it; what comes out is a display list that ``svg``, ``pdf`` and ``png`` draw.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from interchange.draw.options import DrawOptions

if TYPE_CHECKING:
    from interchange.model import Recording

__all__ = ["DrawOptions", "Kind", "draw"]

Kind = Literal["pdf", "svg", "png"]


def draw(
    recording: Recording, kind: Kind, options: DrawOptions | None = None, *, font: str | None = None
) -> tuple[bytes, ...]:
    """The sheet as files: one PDF of all pages, or one SVG or PNG per page.

    PDF and PNG need the extra ``draw``; ``font`` is a TrueType font file for characters that its DejaVu Sans lacks
    (what no font has is written as code point).  Raises UsageError where there is nothing to draw, the drawing would be
    far too large, the font cannot be used, or the extra is not installed.
    """
    chosen = options or DrawOptions()
    from interchange.draw.sheet import drawn_sheet

    if kind == "svg":
        from interchange.draw.svg import svg_page

        sheet = drawn_sheet(recording, chosen)
        return tuple(svg_page(page, sheet.title, sheet.description).encode() for page in sheet.pages)
    from interchange.draw.typeface import installed_typeface

    typeface = installed_typeface(font)
    sheet = drawn_sheet(recording, chosen, typeface)
    if kind == "pdf":
        from interchange.draw.pdf import pdf_document

        return (pdf_document(sheet, typeface),)
    from interchange.draw.png import png_page

    return tuple(png_page(page, typeface, chosen.dpi) for page in sheet.pages)
