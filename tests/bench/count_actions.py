"""Count what a practised person does for the made-up house, from a freshly read card to edition 1.

``python -m tests.bench.count_actions JOB [WIDTHxHEIGHT [said]]`` takes a job that holds the made-up house and
no decision, makes every decision of ``fixtures/decisions.toml`` in the review page, and says at the end
whether the job stands as decided. One action is one key, one click, or one text typed; going to a picture
is one click on it. The script knows beforehand what to decide, so the figure is of handling, not of thinking.
What is proposed is taken only where it is right; whatever is not is put right, and counted. With ``said``
what was said on the walk is put on the line of time first, as the demo does.
"""

from __future__ import annotations

import sys
import time
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from evidence.desk import Desk
from evidence.state import State
from evidence.steps import findings, narration
from evidence.steps.issue import printed
from tests.bench.opened_page import opened

HOUSE = Path(__file__).resolve().parents[2] / "fixtures"
DISTANCES = ["overall", "mid-range", "close-up", "close-up with scale", "data plate", "obstruction"]


class Evening:
    """A page whose every key and click is counted by what it was for."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.done: Counter[str] = Counter()
        self.part = ""

    def key(self, key: str) -> None:
        self.done[self.part] += 1
        self.page.keyboard.press(key)

    def click(self, selector: str) -> None:
        self.done[self.part] += 1
        self.page.locator(selector).first.click()

    def words(self, text: str) -> None:
        self.done[self.part] += 1
        self.page.keyboard.insert_text(text)

    def saved(self, act: str, *args: str) -> None:
        """Do one thing and wait until the page says that it is on the disk."""
        self.page.evaluate("() => { document.getElementById('said').textContent = ''; }")
        getattr(self, act)(*args)
        self.page.wait_for_function("() => document.getElementById('said').textContent.includes('Saved')")

    def at(self, frame: int) -> None:
        """Go to a picture, wherever it is: counted as one click."""
        self.done[self.part] += 1
        self.page.evaluate("f => document.getElementById('p-' + f)?.focus()", frame)


class Decided:
    """What is to be decided of the house, in the job's frame numbers; look-alikes by the one in front."""

    def __init__(self, job: Path, decided: dict[str, Any]) -> None:
        self.state = stand(job)
        with Desk.open(job, write=False) as desk:
            frames = {Path(t.original.place).stem: t.frame for t in desk.job.taken() if t.frame is not None}
        fronts = {f: s.front for s in self.state.look_alikes for f in s.others}
        self.rooms = {int(frames[visit["first"]]): str(visit["room"]) for visit in decided["visit"]}
        self.overall = {int(fronts.get(frames[name], frames[name])) for name in decided["overall"]}
        broken = {p.frame for p in self.state.pictures if not p.usable}
        self.findings: list[tuple[str, str, dict[int, str]]] = []
        self.standards: list[str] = []
        for row in decided["finding"]:
            standard = row.get("from", "")
            seen = row.get("seen") or next(r.seen for r in findings.search(standard) if r.id == standard)
            wanted = {
                int(frames[name]): str(distance)
                for name, distance in row["pictures"].items()
                if frames[name] not in fronts and frames[name] not in broken
            }
            self.standards.append("" if row.get("seen") else standard)
            self.findings.append((str(seen), "Control+Enter" if row.get("seen") else "Enter", wanted))


def stand(job: Path) -> State:
    """Say how the job stands now."""
    with Desk.open(job, write=False) as desk:
        return desk.state()


def clocks(one: Evening, wanted: list[dict[str, Any]]) -> None:
    """Take the correction that is right to two seconds of those proposed, or type it."""
    if not wanted:
        return
    one.click(".clocks summary")
    for clock in wanted:
        offered = one.page.locator(f'.clocks [data-camera*="{clock["camera"]}"]')
        right = [
            str(button.get_attribute("id"))
            for button in offered.all()
            if abs(float(str(button.get_attribute("data-add"))) - clock["add_s"]) <= 2
        ]
        if right:
            one.saved("click", f"#{right[0]}")
            continue
        form = f'[data-clock*="{clock["camera"]}"]'
        one.click(f"{form} [name=add]")
        one.words(f"{clock['add_s']:g}")
        one.key("Tab")
        one.words(clock["reason"])
        one.saved("key", "Enter")


def visits(one: Evening, decided: Decided) -> None:
    """Split, join and move until the visits are the house's."""
    order = [int(p.frame) for p in decided.state.pictures]
    behind = {int(f) for s in decided.state.look_alikes for f in s.others}
    wanted = set(decided.rooms)
    proposed = {int(visit.frames[0]) for visit in decided.state.visits}
    for begins in sorted(proposed - wanted, key=order.index):
        after = order[order.index(begins) + 1]
        if after in wanted - proposed:
            one.at(begins)
            one.saved("key", "]")
            proposed.add(after)
        elif begins != order[0]:
            one.saved("click", f"#join-{begins}")
    for frame in sorted(wanted - proposed, key=order.index):
        if frame not in behind:
            one.at(frame)
            one.saved("key", "n")


def rooms(one: Evening, decided: Decided) -> None:
    """Name every visit; the page goes on from one nameless visit to the next by itself."""
    page = one.page
    carded = {int(v.frames[0]) for v in decided.state.visits if v.room}
    for frame, room in sorted(decided.rooms.items(), key=lambda visit: visit[0] in carded):
        heading = page.locator(f'.visit[data-first="{frame}"] h2')
        if not heading.count() or heading.inner_text().startswith(f"{room} "):
            continue
        if not page.locator(f'#namer[open][data-frame="{frame}"]').count():
            if page.locator("#namer[open]").count():
                one.key("Escape")
            one.click(f"#name-{frame}")
        page.wait_for_selector(f'#namer[open][data-frame="{frame}"] .offers li')
        offered = page.evaluate(
            """() => [...document.querySelectorAll('#namer .offers button')].map(
            (one) => one.childNodes[1].textContent)"""
        )
        place = next((n for n, text in enumerate(offered, 1) if text.strip() == room), 0)
        if place:
            one.saved("key", str(place))
        else:
            one.words(room)
            one.saved("key", "Enter")
        page.wait_for_timeout(400)


def overalls(one: Evening, decided: Decided) -> None:
    """Untick what is not wanted of the proposed overall views, and take the others together."""
    page = one.page
    one.click(".overalls summary")
    offered = {int(str(box.get_attribute("value"))) for box in page.locator(".overalls [name=frame]").all()}
    for frame in offered - decided.overall:
        one.click(f"#overall-{frame}")
    one.saved("click", "#take-overalls")
    for frame in decided.overall - offered:
        one.at(frame)
        one.saved("key", "v")


def go_round(one: Evening, decided: Decided) -> None:
    """Go through the day, and write each finding where its pictures are shown."""
    page = one.page
    written: dict[int, int] = {}
    one.click("#go-round")
    page.wait_for_selector("#round[open]")
    while page.locator("#round[open]").count():
        shown = held(page)
        meant = [n for n, (_, _, wanted) in enumerate(decided.findings) if set(shown) & set(wanted)]
        fresh = [n for n in meant if n not in written]
        if not meant or (not fresh and not offers_to_join(page, [written[n] for n in meant])):
            one.key("PageDown" if page.locator("#round-found button").count() else "Enter")
        elif not fresh:
            sort_out(one, decided.findings[meant[0]][2])
            step(one, "=")
        else:
            seen, enter, wanted = decided.findings[fresh[0]]
            gather(one, wanted, {f for n in fresh[1:] for f in decided.findings[n][2]})
            sort_out(one, wanted)
            offered = page.locator("#round-found .likeliest")
            standard = decided.standards[fresh[0]]
            if not (offered.count() and standard and f" {standard}," in offered.inner_text()):
                one.words(seen)
                page.wait_for_selector("#round[data-found]:not([data-found=''])")
                time.sleep(0.3)
            written[fresh[0]] = len(written) + 1
            step(one, enter)
            continue
        page.wait_for_timeout(100)
    for n, (_, _, wanted) in enumerate(decided.findings):
        attach(one, written[n], wanted)


def held(page: Page) -> dict[int, str]:
    """Give the pictures that the round shows, from left to right, each with its distance."""
    found: list[tuple[str, str]] = page.evaluate(
        """() => [...document.querySelectorAll('#round .thing')].map((thing) =>
        [thing.querySelector('b').textContent, thing.querySelector('select')?.value ?? ''])"""
    )
    return {int(frame): distance for frame, distance in found}


def step(one: Evening, key: str) -> None:
    """Press a key that saves and goes on, and wait until it has."""
    before = one.page.locator("#round").get_attribute("data-at")
    one.saved("key", key)
    one.page.wait_for_function(
        "at => { const r = document.getElementById('round'); return !r.open || r.dataset.at !== at; }",
        arg=before,
    )


def offers_to_join(page: Page, numbers: list[int]) -> bool:
    """Whether the round offers one of these findings for the same view."""
    offer = page.locator("#round-kin")
    return bool(offer.count()) and any(f"finding {n}:" in offer.inner_text() for n in numbers)


def gather(one: Evening, wanted: dict[int, str], others: set[int]) -> None:
    """Take in the views that belong to a finding, and leave out at the end what belongs to another."""
    while set(list(held(one.page))[-1:]) & (others - set(wanted)):
        one.key("-")
    while not set(wanted) <= set(before := held(one.page)):
        one.key("+")
        if set(held(one.page)) - set(before) & set(wanted):
            continue
        one.done[one.part] -= 1  # whoever looks at the pictures does not try
        if held(one.page) != before:
            one.page.keyboard.press("-")
        break
    overall = {f for f, distance in wanted.items() if distance == "overall"}
    for _ in range(_presses(one.page, overall)):
        one.key("0")


def _presses(page: Page, overall: set[int]) -> int:
    """Try, uncounted, how often the key of the overall views is pressed until the wanted ones are there."""
    wide = page.locator("#round-wide")
    best = tried = 0
    while overall and wide.is_enabled():
        before = set(held(page))
        page.keyboard.press("0")
        tried += 1
        if not (new := set(held(page)) - before):
            break  # behind the last one they are all gone again
        if new & overall:
            best = tried
    return best


def sort_out(one: Evening, wanted: dict[int, str]) -> None:
    """Leave out the pictures that are not wanted and put the distances right, with the fewest keys."""
    for frame in set(held(one.page)) - set(wanted):
        one.click(f"#round-{frame}")
        one.page.evaluate("() => document.getElementById('round-seen').focus()")
    shown = {f: d for f, d in held(one.page).items() if f in wanted}
    wrong = {f: wanted[f] for f, distance in shown.items() if distance != wanted[f]}
    if not wrong:
        return
    if len({wanted[f] for f in shown}) == 1:
        one.key(str(DISTANCES.index(next(iter(wrong.values()))) + 1))
        return
    places = list(held(one.page))
    at = -1
    for frame in sorted(wrong, key=places.index, reverse=True):
        to = places.index(frame)
        presses = (len(places) - to) if at < 0 else at - to
        for _ in range(presses):
            one.key("ArrowLeft")
        at = to
        one.key(str(DISTANCES.index(wrong[frame]) + 1))


def attach(one: Evening, number: int, wanted: dict[int, str]) -> None:
    """Attach in the line of the day what the round has left."""
    state = stand(Path(sys.argv[1]))
    have = {int(a.frame) for a in state.attached_to(number)}
    for frame, distance in wanted.items():
        if frame in have:
            continue
        if one.page.locator("#hand-finding").input_value() != str(number):
            one.done[one.part] += 2  # the list, and the finding in it
            one.page.locator("#hand-finding").select_option(str(number))
        one.at(frame)
        one.saved("key", str(DISTANCES.index(distance) + 1))


def look(one: Evening) -> None:
    """Look at every printed picture: as many at a time as the screen shows large enough."""
    page = one.page
    one.click("nav a[href='/proof']")
    page.wait_for_url("**/proof")
    page.wait_for_selector("#look-next")
    if page.locator("#look-together:visible").count():
        one.click("#look-together")
        page.wait_for_selector("#spread[open]")
        while page.locator("#spread[open]").count():
            page.wait_for_selector("#spread-tick:not([disabled])")
            title = page.locator("#spread-title").inner_text()
            one.saved("key", "l")
            page.wait_for_function(
                """title => !document.getElementById('spread').open ||
                document.getElementById('spread-title').textContent !== title""",
                arg=title,
            )
        return
    waiting = str(page.locator("#look-next").get_attribute("data-look")).split(",")
    one.click("#look-next")
    for shown_now in waiting:
        page.wait_for_selector(f"#viewer-title:text-is('Picture {shown_now}')")
        page.wait_for_selector("#v-looked:not([disabled])")
        one.saved("key", "l")
    page.wait_for_selector("#viewer:not([open])", state="attached")


def evening(page: Page, job: Path, house: dict[str, Any]) -> tuple[Counter[str], Decided]:
    """Make every decision of the made-up house."""
    one = Evening(page)
    one.part = "clocks set right"
    clocks(one, house["clock"])
    decided = Decided(job, house)
    for part, done in {
        "visits split, joined and moved": visits,
        "rooms named": rooms,
        "overall views": overalls,
        "findings written, pictures attached": go_round,
    }.items():
        one.part = part
        done(one, decided)
    one.part = "printed pictures looked at"
    look(one)
    one.part = "issue"
    one.saved("key", "Enter")  # the focus is on it
    return one.done, decided


def differences(state: State, decided: Decided) -> list[str]:
    """Say in what the job does not stand as decided."""
    found = []
    begins = {int(v.frames[0]): v.room for v in state.visits}
    found += [f"visit {f}: {begins.get(f)}" for f, room in decided.rooms.items() if begins.get(f) != room]
    views = {int(p.frame) for p in state.pictures if p.view}
    found += [f"overall view {frame}" for frame in sorted(views ^ decided.overall)]
    made = {
        f.seen: {int(a.frame): str(a.distance) for a in state.attached_to(f.number)} for f in state.findings
    }
    twice = Counter(seen for seen, _, _ in decided.findings)
    for seen, _, wanted in decided.findings:
        if twice[seen] == 1 and made.get(seen) != wanted:
            found.append(f"{seen} has {made.get(seen)}, not {wanted}")
    if len(state.findings) != len(decided.findings):
        found.append(f"{len(state.findings)} findings")
    return found + [f"picture {p.frame} not looked at" for p in printed(state) if not p.looked]


def hear(job: Path, spoken: dict[str, str]) -> None:
    """Put what was said on the line of time, by the one sentence whose picture is known."""
    with Desk.open(job) as desk:
        frames = {Path(t.original.place).stem: t.frame for t in desk.job.taken() if t.frame is not None}
        transcript = narration.take_in(desk, HOUSE / spoken["file"])
        began = narration.by_picture(desk, transcript, frames[spoken["picture"]], says=spoken["says"])
        narration.place(desk, transcript, *began)


def main(job: Path, screen: str = "1400x1000", said: str = "") -> None:
    """Run it and print the count by part."""
    house = tomllib.loads((HOUSE / "decisions.toml").read_text("utf-8"))
    if said:
        hear(job, house["narration"])
    width, height = map(int, screen.split("x"))
    with opened(job, width, height) as page:
        begun = time.monotonic()
        done, decided = evening(page, job, house)
        took = time.monotonic() - begun
    for part, number in done.items():
        print(f"{number:5d} {part}")
    print(f"{done.total():5d} actions in all; the program itself took {took:.0f} s of waiting")
    state = stand(job)
    print(f"{len(printed(state))} printed pictures, {len(state.findings)} findings")
    found = differences(state, decided)
    print("not as decided:\n" + "\n".join(found) if found else "as decided")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:4])
