"""Find the standard findings that words or a spoken sentence may mean.

Lexical: rare shared words count most (BM25), and runs of letters catch inflected and misspelt
words. A room that is one of a finding's usual places lifts it a little. It offers; it never
decides, and it hides nothing.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass
from functools import cache

from rapidfuzz import fuzz, process

from evidence.findings.catalogue import catalogue
from evidence.words import StandardFinding, Suggestion

VERSION = 1

_K1, _B = 1.2, 0.75
"""BM25's usual constants: Robertson and Zaragoza, "The Probabilistic Relevance Framework: BM25 and
Beyond", 2009 (from memory)."""

_COMMON = """a an and are as at be but by for from had has have here i in into is it its not of on or our so
    that the there these they this to up was we were what where which who with you your"""
_STOP = frozenset(_COMMON.split())
_KEYWORD_WEIGHT, _SEEN_WEIGHT, _PLACE_WEIGHT = 3, 2, 1
_ROOM_LIFT = 1.15
_FUZZY = 82
"""Below this likeness (rapidfuzz ratio, 0..100) a word is not taken for a misspelling."""


def suggest(sentence: str, room: str | None = None, limit: int = 3) -> list[Suggestion]:
    """Offer the standard findings that a sentence may mean, likeliest first.

    Parameters
    ----------
    sentence
        As spoken or typed.
    room
        Where it was said; lifts findings usual there.
    limit
        Offers at most.

    Returns
    -------
    Empty when no word of the sentence is known.

    Examples
    --------
    >>> suggest("the bath fan hose just ends up here under the roof")[0].id
    'ATT-06'
    """
    index = _index()
    words = [index.known(word) for word in _words(sentence)]
    shared = Counter(word for word in words if word)
    grams = _grams(sentence)
    scored = []
    for place, row in enumerate(catalogue()):
        score = index.bm25(place, shared) + 2.0 * index.alike(place, grams)
        if score > 0 and room and any(_overlap(room, usual) for usual in (*row.places, row.system)):
            score *= _ROOM_LIFT
        hits = [word for word in shared if word in index.counts[place]]
        if score > 0.15:
            scored.append(Suggestion(row.id, round(score, 4), _reason(hits)))
    return sorted(scored, key=lambda one: (-one.score, one.id))[:limit]


def search(words: str, limit: int = 8) -> list[Suggestion]:
    """Search the standard findings by words, misspelt ones too; likeliest first.

    Examples
    --------
    >>> search("releif pipe")[0].id
    'PLB-03'
    """
    return suggest(words, None, limit)


def _reason(hits: list[str]) -> str:
    return f"shares the words {', '.join(sorted(hits))}" if hits else "is spelt alike"


def _overlap(room: str, place: str) -> bool:
    return bool(set(_words(room)) & set(_words(place)))


@dataclass(frozen=True, slots=True)
class _Index:
    counts: tuple[Counter[str], ...]
    lengths: tuple[int, ...]
    mean_length: float
    rarity: dict[str, float]
    grams: tuple[dict[str, float], ...]
    gram_rarity: dict[str, float]

    def known(self, word: str) -> str:
        """The word itself if any finding has it, else the word it was probably meant to be, else ""."""
        if word in self.rarity:
            return word
        found = process.extractOne(word, self.rarity.keys(), scorer=fuzz.ratio, score_cutoff=_FUZZY)
        return found[0] if found else ""

    def bm25(self, place: int, shared: Counter[str]) -> float:
        counts, length = self.counts[place], self.lengths[place]
        score = 0.0
        for word in shared:
            if times := counts.get(word, 0):
                score += (
                    self.rarity[word]
                    * times
                    * (_K1 + 1)
                    / (times + _K1 * (1 - _B + _B * length / self.mean_length))
                )
        return score

    def alike(self, place: int, grams: Counter[str]) -> float:
        """Cosine of letter runs, weighed by rarity, 0..1."""
        asked = {gram: n * self.gram_rarity.get(gram, 0.0) for gram, n in grams.items()}
        norm = math.sqrt(sum(value * value for value in asked.values()))
        if not norm:
            return 0.0
        return sum(value * self.grams[place].get(gram, 0.0) for gram, value in asked.items()) / norm


@cache
def _index() -> _Index:
    texts = [_weighted(row) for row in catalogue()]
    counts = tuple(Counter(text) for text in texts)
    number = len(counts)
    have = Counter(word for count in counts for word in count)
    rarity = {word: math.log(1 + (number - n + 0.5) / (n + 0.5)) for word, n in have.items()}
    raw = [_grams(" ".join(text)) for text in texts]
    gram_have = Counter(gram for grams in raw for gram in grams)
    gram_rarity = {gram: math.log(1 + number / n) for gram, n in gram_have.items()}
    vectors = []
    for grams in raw:
        vector = {gram: (1 + math.log(n)) * gram_rarity[gram] for gram, n in grams.items()}
        norm = math.sqrt(sum(value * value for value in vector.values())) or 1.0
        vectors.append({gram: value / norm for gram, value in vector.items()})
    lengths = tuple(len(text) for text in texts)
    return _Index(counts, lengths, sum(lengths) / number, rarity, tuple(vectors), gram_rarity)


def _weighted(row: StandardFinding) -> list[str]:
    """A row's words, those inspectors say counted most."""
    return [
        *_KEYWORD_WEIGHT * _words(" ".join(row.keywords)),
        *_SEEN_WEIGHT * _words(row.seen),
        *_PLACE_WEIGHT * _words(" ".join((*row.places, row.system))),
    ]


def _words(text: str) -> list[str]:
    """Words in lower case without the commonest, plural and verb endings taken off."""
    found = re.findall(r"[a-z0-9]+", text.casefold().replace("'", ""))
    return [_stem(word) for word in found if word not in _STOP]


def _stem(word: str) -> str:
    for ending, left in (("ies", "y"), ("ing", ""), ("ed", ""), ("es", ""), ("s", "")):
        if word.endswith(ending) and len(word) - len(ending) >= 4 and not word.endswith("ss"):
            return word[: -len(ending)] + left
    return word


def _grams(text: str) -> Counter[str]:
    """Runs of four letters within words, their edges marked."""
    grams: Counter[str] = Counter()
    for word in _words(text):
        marked = f" {word} "
        grams.update(marked[i : i + 4] for i in range(max(1, len(marked) - 3)))
    return grams
