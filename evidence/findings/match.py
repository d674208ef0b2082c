"""Find the standard findings that words or a spoken sentence may mean.

Lexical: rare shared words count most (BM25), a phrase that inspectors say counts by how much of it
was said, and runs of letters catch inflected words; a word that no row has is taken for the one it was
probably meant to be, at a discount. A room that is one of a finding's usual places lifts it, which
decides between findings that share a phrase. Where a model has told how near each finding lies in
meaning, that counts beside the words. It offers; it never decides, and it hides nothing.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from rapidfuzz import process
from rapidfuzz.distance import OSA

from evidence.findings.catalogue import Catalogue, packaged
from evidence.findings.same import FILLER, SAME
from evidence.words import StandardFinding, Suggestion

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

VERSION = 5

_K1, _B = 1.2, 0.5
"""BM25: Robertson and Zaragoza, "The Probabilistic Relevance Framework: BM25 and Beyond", 2009 (from
memory). Their usual b is .75; rows here differ in length by how well they are known, not by rambling."""

_KEYWORD_WEIGHT, _SEEN_WEIGHT, _PLACE_WEIGHT = 2, 2, 1
_PHRASE_PART, _GRAM_PART = 1.0, 6.0
"""How much a phrase and the runs of letters count beside BM25. On the sentences for tuning
(tests/bench/bench_suggest.py) halving or doubling either moves the top three by .003 at most."""

_ROOM_LIFT = 1.4
_MISSPELT = 0.6
"""What a word that had to be guessed counts, of what it would count rightly spelt."""

_WORDS_PART, _MEANING_PART = 0.5, 20.0
"""How much the words' score and a cosine of meaning count where both are known. On the sentences for tuning
(docs/methods/narration.md) half or twice their ratio moves the top three by .01 at most; both halved so
that what a score is worth on the gap list stays the same."""

_LEAST = 0.6
"""Scores below this share too little to be offered."""

_LONGEST = 99
"""What has more letters is no word."""
_EDITS = ((4, 0), (6, 1), (9, 2), (_LONGEST, 3))
"""Up to a word's length, how many letters may be wrong (optimal string alignment)."""


def suggest(
    sentence: str,
    room: str | None = None,
    limit: int = 3,
    among: Catalogue | None = None,
    nearness: Sequence[float] | None = None,
) -> list[Suggestion]:
    """Offer the standard findings that a sentence may mean, likeliest first.

    Parameters
    ----------
    sentence
        As spoken or typed.
    room
        Where it was said; lifts findings usual there.
    limit
        Offers at most.
    among
        The catalogue to look in; the packaged one when None.
    nearness
        How near each row of the catalogue lies to the sentence in meaning, in the catalogue's order,
        -1..1; None when no model tells.

    Returns
    -------
    Empty when no word of the sentence is known and no model tells.

    Examples
    --------
    >>> suggest("the bath fan hose just ends up here under the roof")[0].id
    'ATT-06'
    """
    return _index(among or packaged()).offers(sentence, room or "", limit, nearness)


def search(words: str, limit: int = 8, among: Catalogue | None = None) -> list[Suggestion]:
    """Search the standard findings by words, misspelt ones too, or by id; likeliest first.

    Examples
    --------
    >>> search("releif pipe")[0].id in {"PLB-01", "PLB-02", "PLB-03"}
    True
    >>> search("plb-03")[0].reason
    'is its id'
    """
    rows = among or packaged()
    if (name := words.strip().upper()) in rows.by_id:
        return [Suggestion(name, 1.0, "is its id")]
    return suggest(words, None, limit, rows)


class _Index:
    """Everything about a catalogue that does not depend on what was said, made once."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._rows = catalogue.rows
        texts = [_weighted(row) for row in self._rows]
        counts = [Counter(text) for text in texts]
        number = max(1, len(counts))
        have = Counter(word for count in counts for word in count)
        self._rarity = {word: math.log(1 + (number - n + 0.5) / (n + 0.5)) for word, n in have.items()}
        mean = sum(map(len, texts)) / number
        self._words: dict[str, list[tuple[int, float]]] = defaultdict(list)
        for place, (count, text) in enumerate(zip(counts, texts, strict=True)):
            norm = _K1 * (1 - _B + _B * len(text) / mean)
            for word, times in count.items():
                self._words[word].append((place, self._rarity[word] * times * (_K1 + 1) / (times + norm)))
        self._grams = self._gram_postings(texts)
        self._phrases: dict[str, list[int]] = defaultdict(list)
        self._phrase_of: list[tuple[int, frozenset[str], float, str]] = []
        for place, row in enumerate(self._rows):
            for phrase in (*row.keywords, row.seen):
                self._add_phrase(place, phrase)
        self._places = [frozenset(_stems(_where(row))) for row in self._rows]
        said: dict[str, set[int]] = defaultdict(set)
        for place, row in enumerate(self._rows):
            for phrase in row.keywords:
                said[phrase.casefold()].add(place)
        self._shared = {phrase for phrase, places in said.items() if len(places) > 1}
        self._vocabulary = sorted(self._rarity)
        self._meant: dict[str, tuple[str, ...]] = {}

    def offers(
        self, sentence: str, room: str, limit: int, nearness: Sequence[float] | None = None
    ) -> list[Suggestion]:
        weights = self._weights(_tokens(sentence))
        scores: dict[int, float] = defaultdict(float)
        for word, weight in weights.items():
            for place, value in self._words[word]:
                scores[place] += weight * value
        said = self._said(weights)
        for place, (value, _) in said.items():
            scores[place] += _PHRASE_PART * value
        for place, value in self._alike(weights):
            scores[place] += _GRAM_PART * value
        here = frozenset(_stems(room))
        best = []
        for place in scores if nearness is None else range(len(self._rows)):
            usual = bool(here & self._places[place])
            score = scores[place] * (_ROOM_LIFT if usual else 1.0)
            if nearness is not None:
                score = _WORDS_PART * score + _MEANING_PART * nearness[place]
            if score >= _LEAST:
                best.append((-score, self._rows[place].id, place, usual))
        otherwise = "is spelt alike" if nearness is None else "has a like meaning"
        return [
            Suggestion(
                name, round(-score, 4), self._reason(place, weights, said.get(place), usual, otherwise)
            )
            for score, name, place, usual in sorted(best)[:limit]
        ]

    def _weights(self, tokens: list[str]) -> dict[str, float]:
        """Each known word once; one that had to be guessed, joined or parted for less."""
        weights: dict[str, float] = {}
        for word in map(_stem, (token for token in tokens if token not in FILLER)):
            if word in self._rarity:
                weights[word] = 1.0
            elif meant := self._guess(word):
                for one in meant:
                    weights.setdefault(one, _MISSPELT)
        for first, second in pairwise(tokens):
            if (joined := _stem(first + second)) in self._rarity:
                weights.setdefault(joined, _MISSPELT)  # "down spout", "knock out"
        return weights

    def _guess(self, word: str) -> tuple[str, ...]:
        """The word or two that an unknown one was probably meant to be."""
        if len(word) > _LONGEST:
            return ()  # not even parted: there are as many ways as it has letters
        if word not in self._meant:
            if len(self._meant) > 20_000:  # a long film's words, never without bound
                self._meant.clear()
            parts = self._parted(word)
            # "fusebox" is a fuse box, which inspectors say, and no firebox two letters off.
            said = bool(parts) and self._held_together(parts)
            self._meant[word] = parts if said else self._misspelt(word) or parts
        return self._meant[word]

    def _misspelt(self, word: str) -> tuple[str, ...]:
        """The known word within one to three wrong letters."""
        allowed = next(edits for length, edits in _EDITS if len(word) <= length)
        if not allowed:
            return ()
        found = process.extractOne(word, self._vocabulary, scorer=OSA.distance, score_cutoff=allowed)
        return (found[0],) if found else ()

    def _held_together(self, words: Sequence[str]) -> bool:
        """Tell whether some phrase holds all of these words."""
        return bool(set[int].intersection(*(set(self._phrases[word]) for word in words)))

    def _parted(self, word: str) -> tuple[str, ...]:
        """Two known words written as one: "waterheater"."""
        for at in range(3, len(word) - 2):
            first, second = _stem(word[:at]), _stem(word[at:])
            if first in self._rarity and second in self._rarity:
                return first, second
        return ()

    def _add_phrase(self, place: int, phrase: str) -> None:
        words = frozenset(_stems(phrase))
        total = sum(self._rarity[word] for word in words)
        if total:
            for word in words:
                self._phrases[word].append(len(self._phrase_of))
            self._phrase_of.append((place, words, total, phrase))

    def _said(self, weights: dict[str, float]) -> dict[int, tuple[float, str]]:
        """The phrase of each row of which most was said: its rarity times the part that was said."""
        shares: dict[int, float] = defaultdict(float)
        for word, weight in weights.items():
            for phrase in self._phrases[word]:
                shares[phrase] += weight * self._rarity[word]
        best: dict[int, tuple[float, str]] = {}
        for phrase, share in shares.items():
            place, _, total, text = self._phrase_of[phrase]
            value = share * share / total
            if value > best.get(place, (0.0, ""))[0]:
                best[place] = (value, text)
        return best

    def _gram_postings(self, texts: list[list[str]]) -> dict[str, list[tuple[int, float]]]:
        raw = [_grams(text) for text in texts]
        have = Counter(gram for grams in raw for gram in grams)
        self._gram_rarity = {gram: math.log(1 + len(raw) / n) for gram, n in have.items()}
        postings: dict[str, list[tuple[int, float]]] = defaultdict(list)
        for place, grams in enumerate(raw):
            vector = {gram: (1 + math.log(n)) * self._gram_rarity[gram] for gram, n in grams.items()}
            norm = math.sqrt(sum(value * value for value in vector.values())) or 1.0
            for gram, value in vector.items():
                postings[gram].append((place, value / norm))
        return postings

    def _alike(self, words: Iterable[str]) -> Iterable[tuple[int, float]]:
        """Cosine of letter runs, weighed by rarity, 0..1, in parts that add up."""
        asked = {g: n * self._gram_rarity[g] for g, n in _grams(words).items() if g in self._gram_rarity}
        norm = math.sqrt(sum(value * value for value in asked.values())) or 1.0
        return (
            (place, value * have / norm) for gram, value in asked.items() for place, have in self._grams[gram]
        )

    def _reason(
        self,
        place: int,
        weights: dict[str, float],
        said: tuple[float, str] | None,
        usual: bool,
        otherwise: str,
    ) -> str:
        hits = _as_written(
            self._rows[place], (word for word in weights if any(at == place for at, _ in self._words[word]))
        )
        told = f"shares the words {', '.join(hits)}" if hits else otherwise
        if said and said[1].casefold() in self._shared:
            told += f"; “{said[1]}” is said of several things"
        return told + ("; usual in this room" if usual else "")


@lru_cache(maxsize=4)
def _index(catalogue: Catalogue) -> _Index:
    return _Index(catalogue)


def _weighted(row: StandardFinding) -> list[str]:
    """A row's words, those inspectors say counted most."""
    return [
        *_KEYWORD_WEIGHT * _stems(" ".join(row.keywords)),
        *_SEEN_WEIGHT * _stems(row.seen),
        *_PLACE_WEIGHT * _stems(_where(row)),
    ]


def _where(row: StandardFinding) -> str:
    """Name the places where a row is usually met, its system among them."""
    return " ".join((*row.places, row.system.replace("-", " ")))


def _as_written(row: StandardFinding, stems: Iterable[str]) -> list[str]:
    """Give a row's own words for stems that it has: nobody says "pip" of a pipe."""
    text = " ".join((*row.keywords, row.seen, _where(row)))
    written = {_stem(word): word for word in reversed(_tokens(text))}
    return sorted({written[stem] for stem in stems})


def _tokens(text: str) -> list[str]:
    return re.findall(r"[a-z0-9]+", text.casefold().replace("'", "").replace("’", ""))


def _stems(text: str) -> list[str]:
    """Words in lower case without the commonest, endings taken off, one word for one meaning."""
    return [_stem(word) for word in _tokens(text) if word not in FILLER]


@lru_cache(maxsize=20_000)
def _stem(word: str) -> str:
    return _ONE_WORD.get(word) or _ONE_WORD.get(_bare(word)) or _bare(word)


def _bare(word: str) -> str:
    for ending, left in (("ies", "y"), ("ing", ""), ("ed", ""), ("es", ""), ("s", "")):
        if word.endswith(ending) and len(word) - len(ending) >= 3 and not word.endswith("ss"):
            word = word[: -len(ending)] + left
            if ending in ("ing", "ed") and len(word) > 3 and word[-1] == word[-2] and word[-1] not in "ls":
                word = word[:-1]  # dripping, clogged
            break
    return word[:-1] if word.endswith("e") and len(word) > 3 else word


def _one_word() -> dict[str, str]:
    one: dict[str, str] = {}
    for line in SAME:
        first, *others = line.split()
        for other in (first, *others):
            one.setdefault(other, first)
            one.setdefault(_bare(other), first)
    return one


_ONE_WORD: Final = _one_word()


def _grams(words: Iterable[str]) -> Counter[str]:
    """Runs of four letters within words, their edges marked."""
    grams: Counter[str] = Counter()
    for word in words:
        marked = f" {word} "
        grams.update(marked[i : i + 4] for i in range(max(1, len(marked) - 3)))
    return grams
