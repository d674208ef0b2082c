"""Make any text fit to be printed: nothing vanishes, nothing acts.

Hides what control characters, stray surrogates and direction overrides do to a page. Escaping for
HTML, XML or a spreadsheet is left to the writers.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable

_DIRECTION = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_LONG_WORD = 20
_PIECE = 10


def spelled(character: str) -> str:
    r"""Name a character that cannot be shown by its code point, as the Unicode Standard writes it.

    Examples
    --------
    >>> spelled("\x07")
    '[U+0007]'
    """
    return f"[U+{ord(character):04X}]"


def named(character: str) -> str:
    r"""Name a character without a glyph: a sign by its Unicode name, a letter by its code point.

    Examples
    --------
    >>> named("\U0001f6bf"), named("\u53f0")
    ('[shower]', '[U+53F0]')
    """
    if unicodedata.category(character) in {"So", "Sk", "Sm"}:
        return f"[{unicodedata.name(character, spelled(character)[1:-1]).lower()}]"
    return spelled(character)


def plain(text: str) -> str:
    r"""Replace by its code point every character that could hide, reorder or break a text.

    Control characters but tab and line feed (Unicode category Cc), stray surrogates (Cs), private
    and unassigned code points (Co, Cn) and the explicit direction controls of Unicode Annex 9 are
    spelled out; a file name that pretends to end in another way is thus seen for what it is. Line
    ends become line feeds, tabs become spaces.

    Examples
    --------
    >>> plain("roof\u202egpj.exe")
    'roof[U+202E]gpj.exe'
    """
    if text.isascii() and text.isprintable():
        return text
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    return "".join(
        character
        if character == "\n"
        or (unicodedata.category(character) not in {"Cc", "Cs", "Co", "Cn"} and character not in _DIRECTION)
        else spelled(character)
        for character in text
    )


def one_line(text: str) -> str:
    """Give the text cleaned as by :func:`plain`, its runs of white space made one space each."""
    return " ".join(plain(text).split())


def spell_missing(text: str, shown: Callable[[str], bool]) -> str:
    """Spell out the characters for which there is no glyph, and leave the others.

    Parameters
    ----------
    text
        Any text.
    shown
        Tells whether one character, as a text of its own, can be shown.
    """
    return "".join(c if c.isspace() or shown(c) else named(c) for c in text)


def pieces(text: str) -> list[str]:
    """Cut a text where a line may break even inside a word too long for a column.

    Words up to 20 characters stay whole (hardly an English word is longer; common practice);
    longer ones, such as a path, may break after a slash, underscore or hyphen, else every 10
    characters. Joined, the pieces are the text.

    Examples
    --------
    >>> pieces("see DCIM/100EVDNC/EVDN0001.JPG")
    ['see DCIM/', '100EVDNC/', 'EVDN0001.JPG']
    """
    result = [""]
    for word in re.split(r"(\s+)", text):
        if len(word) <= _LONG_WORD:
            result[-1] += word
            continue
        for part in re.split(r"(?<=[/\\_-])", word):
            slices = [part[at : at + _PIECE] for at in range(0, len(part), _PIECE)]
            whole = [part] if len(part) <= _LONG_WORD else slices
            for piece in whole:
                if result[-1].endswith(tuple("/\\_-")) or len(whole) > 1:
                    result.append("")
                result[-1] += piece
    return [piece for piece in result if piece] or [""]
