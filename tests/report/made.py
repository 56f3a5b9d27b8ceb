"""Pages to look at, made without any file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import interchange
from interchange.checks import build_report
from interchange.draw import DrawOptions
from interchange.model import Code, Identifier, PersonName, Recording, Statement, Unread
from interchange.report import Subject, recording_page
from tests.everything import everything

HOSTILE = "<script>alert(1)</script>\"'&<img src=x onerror=alert(2)>\x1b[31m\u202e\x00"
ARABIC = "نور الهدى عبد الرحمن"
LONG = "Überlanger" * 60


def subject(made: Recording, file: str = "a.scp") -> Subject:
    return Subject(file, made, build_report(made, ()), "0" * 64)


def page(made: Recording, file: str = "a.scp", **options: object) -> bytes:
    return recording_page(subject(made, file), DrawOptions(**options))


def with_text(text: str) -> Recording:
    """The recording that says something in every field, with this text in many of them."""
    made = everything()
    tracing = made.tracings[0]
    channel = replace(tracing.channels[1], name=text)
    return made.with_(
        tracings=(replace(tracing, channels=(tracing.channels[0], channel, *tracing.channels[2:]), label=text),),
        patient=replace(
            made.patient,
            name=PersonName(text=text),
            ids=(Identifier(text, text, text),),
            comments=(text,),
            drugs=(Code(text),),
        ),
        acquisition=replace(made.acquisition, reasons=(text,), remarks=(text,), electrode_placement=text),
        statements=(Statement(text, author=text, confirmed=True, confirmed_by=text, codes=(Code(text, text, text),)),),
        measurements=tuple(replace(m, text=text) for m in made.measurements),
        marks=tuple(replace(m, text=text, group=text, tracing=0) for m in made.marks),
        unread=(Unread(text, 3, text),),
    )


def converted(folder: Path, made: Recording, suffix: str = ".dcm", **options: object) -> tuple[Path, Path, Path]:
    """(source, target, receipt) of a conversion from WFDB."""
    source, target = folder / "source.hea", folder / f"target{suffix}"
    interchange.write(made, source)
    receipt = interchange.convert(source, target, receipt_name=f"{target.name}.receipt.json", **options)
    assert receipt.verified
    return source, target, folder / f"{target.name}.receipt.json"
