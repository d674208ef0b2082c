"""Turn our frozen nouns into JSON text and back, without loss.

Hides the converter. Leaves to others where the text is kept.
"""

from __future__ import annotations

from typing import TypeVar

from cattrs.preconf.json import make_converter

Noun = TypeVar("Noun")

_converter = make_converter(forbid_extra_keys=True)


def to_json(noun: object) -> str:
    """Give one line of JSON with sorted keys, so that equal nouns give equal text.

    Parameters
    ----------
    noun
        A frozen dataclass of :mod:`evidence.words`, or a tuple or list of such.
    """
    return _converter.dumps(noun, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def from_json(text: str | bytes, kind: type[Noun]) -> Noun:
    """Make the noun again from its text.

    Raises
    ------
    ValueError
        The text is no JSON, or not of that kind.

    Examples
    --------
    >>> from evidence.words import Mark, Shape
    >>> from_json(to_json(Mark(Shape.RING, 0.1, 0.2, 0.3, 0.4)), Mark).shape
    <Shape.RING: 'ring'>
    """
    try:
        return _converter.loads(text, kind)
    except Exception as problem:
        # cattrs raises groups of many classes; to a caller they all mean the same.
        raise ValueError(f"not a {getattr(kind, '__name__', kind)}: {problem}") from problem
