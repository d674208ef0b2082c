"""How often the finding that was meant is in the first three: `python -m tests.bench.bench_suggest dev`.

Narrations and what each sentence means: tests/bench/narrations. `dev` may be tuned on, `score` never.
`paraphrases` are sentences written to avoid the catalogue's words, for tuning too: after the first file
words were added to the catalogue, the second was written later and nothing was changed for it but how words
that were parted or joined are read.
With `words` instead: every word of the catalogue's phrases with one planted misspelling.
"""

from __future__ import annotations

import csv
import random
import sys
import time
from pathlib import Path

from evidence.findings import packaged, search, suggest

HERE = Path(__file__).parent / "narrations"


def narrations(kind: str) -> None:
    """Print top 1 and top 3 for each narration, with and without its room, and the time a sentence."""
    every = [0, 0, 0, 0]
    spent = told = 0.0
    tables = (
        sorted(HERE.parent.glob("paraphrases*.csv"))
        if kind == "paraphrases"
        else sorted(HERE.glob(f"{kind}_*.csv"))
    )
    for table in tables:
        rows = [row for row in csv.DictReader(table.read_text("utf-8").splitlines()) if row["finding"]]
        first = third = bare = 0
        for row in rows:
            began = time.process_time()
            ids = [one.id for one in suggest(row["sentence"], row["room"])]
            spent += time.process_time() - began
            told += 1
            first += ids[:1] == [row["finding"]]
            third += row["finding"] in ids
            bare += row["finding"] in [one.id for one in suggest(row["sentence"])]
            if kind != "score" and row["finding"] not in ids:
                print(f"  missed {row['finding']}, offered {ids}: {row['sentence']}")
        print(
            f"{table.stem}: {len(rows)} sentences, first {first / len(rows):.2f}, "
            f"top 3 {third / len(rows):.2f}, top 3 without the room {bare / len(rows):.2f}"
        )
        every = [a + b for a, b in zip(every, (len(rows), first, third, bare), strict=True)]
    n, first, third, bare = every
    print(
        f"all: {n} sentences, first {first / n:.3f}, top 3 {third / n:.3f}, without the room {bare / n:.3f}"
    )
    print(f"{1000 * spent / told:.2f} ms of processor time a sentence, {len(packaged().rows)} rows")


def misspelt(word: str, chance: random.Random) -> str:
    """Swap, drop, double or change one letter inside a word."""
    at = chance.randrange(1, len(word) - 1)
    other = chance.choice("abcdefghijklmnopqrstuvwxyz")
    return chance.choice(
        (
            word[:at] + word[at + 1] + word[at] + word[at + 2 :],
            word[:at] + word[at + 1 :],
            word[:at] + word[at] + word[at:],
            word[:at] + other + word[at + 1 :],
        )
    )


def words() -> None:
    """Search each phrase of two words or more with one misspelling in every word of five letters or more."""
    chance = random.Random(19)
    asked = found = top8 = right = 0
    for row in packaged().rows:
        for phrase in row.keywords:
            parts = phrase.split()
            if len(parts) < 2 or not any(len(part) >= 5 and part.isalpha() for part in parts):
                continue
            typed = " ".join(misspelt(p, chance) if len(p) >= 5 and p.isalpha() else p for p in parts)
            asked += 1
            ids = [one.id for one in search(typed)]
            found += row.id in ids[:3]
            top8 += row.id in ids
            right += row.id in [one.id for one in search(phrase)[:3]]
    print(
        f"{asked} phrases misspelt: top 3 {found / asked:.3f}, of eight shown {top8 / asked:.3f}; "
        f"rightly spelt: top 3 {right / asked:.3f}"
    )


if __name__ == "__main__":
    kind = sys.argv[1] if len(sys.argv) > 1 else "dev"
    words() if kind == "words" else narrations(kind)
