"""The order in which characters stand on paper: right-to-left scripts, and the joined forms of Arabic letters.

A shortened form of the Unicode bidirectional algorithm (UAX #9) for single lines whose base direction is left to right
and that hold no directional control characters (those are written as escapes before they get here).  Arabic letters get
the joined forms that the Unicode character database lists as presentation forms (The Unicode Standard, section 9.2).
"""

from __future__ import annotations

import unicodedata
from functools import cache

__all__ = ["visual"]

RIGHT = frozenset(("R", "AL"))
NUMBERS = frozenset(("EN", "AN"))
MIRRORED = dict(zip("()[]{}<>«»‹›", ")(][}{><»«›‹", strict=True))
FORMS = (range(0xFB50, 0xFDFC), range(0xFE70, 0xFEFD))
LAM = "\u0644"


def visual(text: str) -> list[tuple[str, str]]:
    """Characters from left to right, each with what it stands for in the text ("ﻻ" for lam and alef)."""
    if text.isascii() or not any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in text):
        return [(character, character) for character in text]
    return _reordered(_joined(text))


def _reordered(pairs: list[tuple[str, str]]) -> list[tuple[str, str]]:
    levels = _levels("".join(shown for shown, _ in pairs))
    pairs = [
        (MIRRORED.get(shown, shown), told) if level % 2 else (shown, told)
        for (shown, told), level in zip(pairs, levels, strict=True)
    ]
    for level in (2, 1):
        begin = None
        for place in range(len(pairs) + 1):
            inside = place < len(pairs) and levels[place] >= level
            if inside and begin is None:
                begin = place
            elif not inside and begin is not None:
                pairs[begin:place] = pairs[begin:place][::-1]
                levels[begin:place] = levels[begin:place][::-1]
                begin = None
    return pairs


def _levels(text: str) -> list[int]:
    """Embedding level of each character: 0 left to right, 1 right to left, 2 numbers within right to left."""
    resolved = _with_brackets(text, _resolved([unicodedata.bidirectional(character) for character in text]))
    before, after = _sides(resolved), _sides(resolved[::-1])[::-1]
    levels = []
    for place, kind in enumerate(resolved):
        if kind in RIGHT or kind in NUMBERS or kind == "L":
            levels.append(1 if kind in RIGHT else 2 if kind in NUMBERS else 0)
        else:
            levels.append(int(before[place] and after[place]))
    return levels


def _resolved(classes: list[str]) -> list[str]:
    """Marks as what they stand on, separators within numbers as numbers, numbers after Latin as Latin."""
    strong = "L"
    resolved: list[str] = []
    for place, given in enumerate(classes):
        kind = given
        if kind == "NSM":
            kind = resolved[place - 1] if place else "L"
        elif kind in ("CS", "ES") and classes[place - 1 : place] == classes[place + 1 : place + 2] == ["EN"]:
            kind = "EN"
        if kind == "L" or kind in RIGHT:
            strong = kind
        resolved.append({("EN", "AL"): "AN", ("EN", "L"): "L"}.get((kind, strong), kind))
    return resolved


def _with_brackets(text: str, kinds: list[str]) -> list[str]:
    """Both brackets of a pair with one direction (rule N0): that of the line if anything inside has it, else that of
    what is inside where the text before has it too."""
    for begin, end in sorted(_bracket_pairs(text, kinds)):
        inside = {_direction(kind) for kind in kinds[begin + 1 : end]} - {""}
        before = next((side for kind in reversed(kinds[:begin]) if (side := _direction(kind))), "L")
        if inside:
            kinds[begin] = kinds[end] = "R" if inside == {"R"} and before == "R" else "L"
    return kinds


def _bracket_pairs(text: str, kinds: list[str]) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    opened: list[int] = []
    for place, character in enumerate(text):
        if kinds[place] != "ON":
            continue
        if character in "([{":
            opened.append(place)
        elif character in ")]}":
            match = next((n for n in reversed(opened) if MIRRORED[text[n]] == character), None)
            if match is not None:
                pairs.append((match, place))
                del opened[opened.index(match) :]
    return pairs


def _direction(kind: str) -> str:
    return "L" if kind == "L" else "R" if kind in RIGHT or kind in NUMBERS else ""


def _sides(kinds: list[str]) -> list[bool]:
    """For each place whether the nearest character before it reads right to left (numbers count as such)."""
    found, side = [], False
    for kind in kinds:
        found.append(side)
        if kind == "L" or kind in RIGHT or kind in NUMBERS:
            side = kind != "L"
    return found


@cache
def _forms() -> dict[tuple[str, str], str]:
    """(letters, position) -> presentation form."""
    found: dict[tuple[str, str], str] = {}
    for code in (code for part in FORMS for code in part):
        kind, _, letters = unicodedata.decomposition(chr(code)).partition("> ")
        name = kind.strip("<")
        if name in ("isolated", "initial", "medial", "final") and letters:
            found.setdefault(("".join(chr(int(part, 16)) for part in letters.split()), name), chr(code))
    return found


def _joined(text: str) -> list[tuple[str, str]]:
    """Arabic letters in the form that their neighbours ask for; lam and alef as one."""
    forms = _forms()
    letters: list[str] = []
    for character in text:
        if letters and letters[-1] == LAM and (LAM + character, "isolated") in forms:
            letters[-1] += character
        else:
            letters.append(character)
    pairs: list[tuple[str, str]] = []
    for place, letter in enumerate(letters):
        before, after = _neighbour(letters, place, -1), _neighbour(letters, place, 1)
        to_before = len(before) == 1 and (before, "initial") in forms and (letter, "final") in forms
        to_after = (letter, "initial") in forms and (after, "final") in forms
        position = ("isolated", "initial", "final", "medial")[2 * to_before + to_after]
        shown = forms.get((letter, position)) or forms.get((letter, "isolated")) or letter
        pairs += [(shown, letter)] if len(shown) == 1 else zip(letter, letter, strict=True)
    return pairs


def _neighbour(letters: list[str], place: int, step: int) -> str:
    """The letter beside, marks above and below not counted; empty where there is none."""
    place += step
    while 0 <= place < len(letters) and unicodedata.combining(letters[place][0]):
        place += step
    return letters[place] if 0 <= place < len(letters) else ""
