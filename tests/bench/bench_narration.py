"""Score the match from spoken sentences to standard findings, and stills to sentences.

    python -m tests.bench.bench_narration [--model FOLDER]

The narrations and what their sentences mean lie in ``tests/bench/narrations``; ``dev_*`` are for tuning,
``score_*`` are only scored. Stills are drawn: one to three for each sentence that means a finding, taken
while it is said or up to three seconds after, by clocks wrong by 0, 5, 10 and 20 seconds either way.
With a model the figures are those of words and meaning together, which is what the program offers then, and
of meaning alone.
"""

from __future__ import annotations

import argparse
import csv
import random
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evidence import findings, meanings, narration
from evidence.arrange import suggestions, with_suggestions
from evidence.meanings import Model
from evidence.recordings import Said
from evidence.words import Sentence

HERE = Path(__file__).parent / "narrations"
ERRORS_S = (0, 5, 10, 20)


@dataclass(frozen=True, slots=True)
class Meant:
    """A sentence as parsed, with the standard finding it means ("" for none) and its room."""

    start_s: float
    end_s: float
    text: str
    finding: str
    room: str


def meant(name: str) -> list[Meant]:
    """Read a narration and say what each sentence means, by its start."""
    file = next(path for path in (HERE / f"{name}.vtt", HERE / f"{name}.srt") if path.exists())
    with file.with_suffix(".csv").open(encoding="utf-8", newline="") as table:
        truth = {round(float(row["start_s"]), 2): row for row in csv.DictReader(table)}
    made = []
    for one in narration.sentences(narration.read(file.read_bytes()).cues):
        row = truth.get(round(one.start_s, 2), {"finding": "", "room": ""})
        made.append(Meant(one.start_s, one.end_s, one.text, row["finding"], row["room"]))
    return made


def names(split: str) -> list[str]:
    return sorted(path.stem for path in HERE.glob(f"{split}_*.csv"))


def ranks(said: list[Meant], *, with_room: bool, model: Model | None = None) -> list[int | None]:
    """Place of the right finding among the first three offers, for each sentence that means one."""
    asked = [(one.text, one.room if with_room else "") for one in said]
    offers = suggestions(asked, findings.packaged(), nearness(said, model))
    return [
        placed(one, [offer.id for offer in offered])
        for one, offered in zip(said, offers, strict=True)
        if one.finding
    ]


def nearness(said: list[Meant], model: Model | None) -> list[list[float]] | None:
    """How near each sentence lies to each standard finding, when there is a model."""
    if model is None:
        return None
    words = [narration.without_marker(one.text) for one in said]
    return [[float(one) for one in row] for row in model.nearness(words, findings.packaged().rows)]


def placed(one: Meant, ids: list[str]) -> int | None:
    return min((ids.index(name) for name in one.finding.split("/") if name in ids), default=None)


def aligned(said: list[Meant], error_s: float, chance: random.Random) -> tuple[int, int, int]:
    """Count drawn stills nearest to their sentence, those with it among the nearest three, and all."""
    spans = [(one.start_s, one.end_s) for one in said]
    first = three = count = 0
    for place, one in enumerate(said):
        for _ in range(chance.randint(1, 3) if one.finding else 0):
            shown = chance.uniform(one.start_s, one.end_s + 3) + error_s * chance.choice((-1, 1))
            count += 1
            first += narration.nearest(spans, [shown], 1e9)[0] == place
            apart = sorted(
                range(len(spans)), key=lambda i: max(spans[i][0] - shown, shown - spans[i][1], 0.0)
            )
            three += place in apart[:3]
    return first, three, count


def share(found: list[int | None], best: int) -> str:
    return f"{sum(rank is not None and rank < best for rank in found) / len(found):.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--model", type=Path, help="folder of a sentence-embedding model; docs/methods/narration.md"
    )
    words = parser.parse_args()
    model = meanings.Model(words.model) if words.model else None
    print(f"{len(findings.packaged().rows)} standard findings, match version {findings.VERSION}")
    print(
        f"{'narration':<22}{'sentences':>10}{'findings':>10}{'top 1':>8}{'top 3':>8}"
        f"{'top 1 room':>12}{'top 3 room':>12}"
    )
    for split in ("dev", "score"):
        plain: list[int | None] = []
        roomed: list[int | None] = []
        for name in names(split):
            said = meant(name)
            a, b = ranks(said, with_room=False, model=model), ranks(said, with_room=True, model=model)
            plain, roomed = plain + a, roomed + b
            print(
                f"{name:<22}{len(said):>10}{len(a):>10}{share(a, 1):>8}{share(a, 3):>8}"
                f"{share(b, 1):>12}{share(b, 3):>12}"
            )
        print(
            f"{'all ' + split:<32}{len(plain):>10}{share(plain, 1):>8}{share(plain, 3):>8}"
            f"{share(roomed, 1):>12}{share(roomed, 3):>12}"
        )
    if model:
        by_meaning(model)
    likely("dev", model)
    likely("score", model)
    print("\nstills to sentences, score narrations: clock error, nearest is right, among the nearest three")
    for error_s in ERRORS_S:
        chance = random.Random(17)
        sums = [aligned(meant(name), error_s, chance) for name in names("score")]
        first, three, count = (sum(column) for column in zip(*sums, strict=True))
        print(f"  {error_s:>3} s  {first / count:.2f}  {three / count:.2f}  of {count}")
    asked = [one for name in names("score") for one in meant(name)]
    began = time.process_time()
    suggestions([(one.text, one.room) for one in asked], findings.packaged(), nearness(asked, model))
    print(f"\n{(time.process_time() - began) / len(asked) * 1000:.1f} ms of one core a sentence")


def likely(split: str, model: Model | None) -> None:
    """How well the order puts findings first: area under the curve, and shares above some thresholds."""
    said = [one for name in names(split) for one in meant(name)]
    rows = tuple(Said(i, "", Sentence(o.start_s, o.end_s, o.text), 0, 0) for i, o in enumerate(said))
    offers = suggestions([(o.text, o.room) for o in said], findings.packaged(), nearness(said, model))
    scored = [one.likelihood for one in with_suggestions(rows, offers)]
    yes = [s for s, o in zip(scored, said, strict=True) if o.finding]
    no = [s for s, o in zip(scored, said, strict=True) if not o.finding]
    area = sum((a > b) + 0.5 * (a == b) for a in yes for b in no) / (len(yes) * len(no))
    above = ", ".join(
        f"{t:.2f}: {sum(s >= t for s in yes) / len(yes):.2f}/{sum(s >= t for s in no) / len(no):.2f}"
        for t in (0.5, 0.55, 0.6, 0.65, 0.7, 0.75)
    )
    print(
        f"\n{split}: findings before chatter, AUC {area:.2f}; "
        f"above a likelihood, of findings/of chatter: {above}"
    )


def by_meaning(model: Model) -> None:
    """The same by meaning alone, without words and rooms."""
    rows = findings.packaged().rows
    for split in ("dev", "score"):
        said = [one for name in names(split) for one in meant(name) if one.finding]
        words = [narration.without_marker(one.text) for one in said]
        order = np.argsort(-model.nearness(words, rows), axis=1, kind="stable")[:, :3]
        found = [placed(one, [rows[i].id for i in best]) for one, best in zip(said, order, strict=True)]
        print(f"{'meaning alone, ' + split:<32}{len(found):>10}{share(found, 1):>8}{share(found, 3):>8}")


if __name__ == "__main__":
    main()
