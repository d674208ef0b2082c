"""What the page does to the job: one step's call each, on the disk before it is said to be saved."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from evidence import state, verify
from evidence.desk import Desk
from evidence.record import Line
from evidence.steps import findings, undo
from tests.review.conftest import Asker, lose, served
from tests.steps.test_catalogue import MOSS


def shown(html: str) -> dict[str, str]:
    """Name the parts a page holds, each with its digest, as its script does."""
    return dict(re.findall(r'class="part" id="([\w-]+)" data-digest="(\w+)"', html))


def test_what_is_said_to_be_saved_is_on_the_disk(page: Asker) -> None:
    told = page.act("room", frame=1, name="Attic")

    lines = (page.folder / "record.jsonl").read_bytes().splitlines()
    assert told["line"] == len(lines)
    assert b'"room"' in lines[-1]
    assert b"Attic" in lines[-1]


@pytest.mark.parametrize("size", ["small", "screen", "whole"])
def test_a_deleted_original_is_named_where_its_copy_is_asked_for(page: Asker, size: str) -> None:
    name = lose(page.folder, 2)
    shown = page.get("/picture/2").told

    answer = page.get(f"/image/2/{shown['digest']}/stops-1/{size}.jpg")

    assert answer.status == 409
    assert name in str(answer.told["problem"])
    assert "evidence verify" in str(answer.told["remedy"])


def test_pages_are_not_set_without_an_original_and_it_is_named(page: Asker) -> None:
    page.act("overall", frames="1,2", on="yes")
    name = lose(page.folder, 2)

    answer = page.post("/act/pages", b"", {"Accept": "application/json"})

    assert answer.status == 409
    assert name in str(answer.told["problem"])


def test_letters_without_a_font_are_said_when_pages_are_set_and_when_an_edition_is_issued(
    page: Asker,
) -> None:
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    page.act("overall", frames="1", on="yes")
    page.act("room", frame=1, name="\u0e04\u0e23\u0e31\u0e27")  # Thai: no font of ours has it

    told = [str(page.act("pages")["said"]), str(page.act("issue", reason="The client waits.")["said"])]

    assert all("The PDF prints code points such as [U+0E04] in room “" in said for said in told)


def test_pages_are_set_with_as_many_photos_as_were_chosen_for_the_edition(page: Asker) -> None:
    """They were set as job.toml says, whatever was chosen; what was looked at was not what was issued."""
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    page.act("overall", frames="1,2,3,4", on="yes")
    two, six = (int(str(page.act("pages", per_page=n)["said"]).split()[0]) for n in (2, 6))

    html = page.get("/proof").text

    assert six < two
    assert f"{six} pages with 6 photos a page, as things stand" in html
    assert "<option selected>6</option>" in html


def test_visits_are_joined_and_split_by_their_pictures(page: Asker) -> None:
    page.act("begins", frame=5, on="no")
    page.act("begins", frame=3, on="yes")

    with Desk.open(page.folder, write=False) as desk:
        assert [visit.frames for visit in desk.state().visits] == [(1, 2), (3, 4, 5, 6, 7, 8)]


def test_a_clock_is_corrected_and_taken_back(page: Asker) -> None:
    with Desk.open(page.folder, write=False) as desk:
        first = desk.state().pictures[0]
    page.act("clock", camera=first.capture.camera, add="-40", reason="by my watch")
    with Desk.open(page.folder, write=False) as desk:
        moved = desk.state().picture(first.frame)
    page.act("undo")
    with Desk.open(page.folder, write=False) as desk:
        back = desk.state().picture(first.frame)

    assert moved
    assert moved.seconds == first.seconds - 40
    assert moved.correction == "by my watch"
    assert back
    assert (back.seconds, back.correction) == (first.seconds, "")


def test_pictures_attached_at_once_are_taken_back_at_once_and_done_again(page: Asker) -> None:
    page.act("add", standard="ATT-06", room="Attic")
    page.act("attach", finding=1, frames="2,3,4", distance="close-up")
    page.act("undo")
    with Desk.open(page.folder, write=False) as desk:
        assert desk.state().attachments == ()

    page.act("redo")

    with Desk.open(page.folder, write=False) as desk:
        assert [a.frame for a in desk.state().attachments] == [2, 3, 4]
    page.act("undo")
    page.act("undo")
    with Desk.open(page.folder, write=False) as desk:
        assert desk.state().findings == ()
    page.act("redo")
    page.act("redo")
    assert "nothing to do again" in str(page.act("redo")["problem"])
    with Desk.open(page.folder, write=False) as desk:
        assert len(desk.state().attachments) == 3


def test_one_act_is_taken_back_at_once_after_a_restart_too(page: Asker, tmp_path: Path) -> None:
    page.act("add", seen="A hose lies loose.", frames="2,3,4", distance="close-up")
    page.act("attach", finding=1, frames="5,6", distance="mid-range")
    copy = Path(shutil.copytree(page.folder, tmp_path / "moved"))
    for serving in served(copy):
        again = Asker(serving.address, copy)
        again.enter()
        again.act("undo")
        with Desk.open(copy, write=False) as desk:
            assert [a.frame for a in desk.state().attachments] == [2, 3, 4]
        again.act("undo")
        with Desk.open(copy, write=False) as desk:
            assert desk.state().findings == ()
    for serving in served(copy):
        again = Asker(serving.address, copy)
        again.enter()
        again.act("redo")
        again.act("redo")
        assert "nothing to do again" in str(again.act("redo")["problem"])

    with Desk.open(copy, write=False) as desk:
        assert [a.frame for a in desk.state().attachments] == [2, 3, 4, 5, 6]
    assert verify.verify(copy).sound


def test_a_new_decision_ends_what_can_be_done_again(page: Asker) -> None:
    page.act("room", frame=1, name="Attic")
    page.act("undo")
    page.act("room", frame=1, name="Cellar")

    assert "nothing to do again" in str(page.act("redo")["problem"])


def test_undo_takes_back_what_its_button_names_or_nothing(page: Asker) -> None:
    """Two windows: the one presses undo before it shows what the other has just decided."""
    line = page.act("room", frame=1, name="Attic")["line"]
    page.act("room", frame=1, name="Cellar")

    late = page.act("undo", line=line)
    right = page.act("undo", line=page.act("looked", frames="1", on="yes")["line"])

    assert "decided meanwhile" in str(late["problem"])
    assert right["said"] == "Taken back: looked at picture 1."
    with Desk.open(page.folder, write=False) as desk:
        assert desk.state().rooms == ("Cellar",)


TOLD = [
    ("clock", "Ostrel F2", {"add_s": -40.0}, "clock of Ostrel F2"),
    ("clock from", "7", {"add_s": 3600.0}, "clock from picture 7 on"),
    ("begins", "7", False, "picture 7 begins no visit"),
    ("room", "7", "Attic", "room Attic, picture 7"),
    ("room", "7", None, "no room name, picture 7"),
    ("card", "12", "Attic", "room card 12 stands for Attic"),
    ("weights", "rooms", [1.0], "learned weights of rooms"),
    ("order", "findings", [2, 1], "order of findings"),
    ("order", "rooms", ["Attic"], "order of rooms"),
    ("view", "7", None, "no overall view, picture 7"),
    ("apart", "7", True, "picture 7 no look-alike"),
    ("front", "7", True, "picture 7 in front"),
    ("light", "7", "as taken", "light of picture 7"),
    ("shown", "7", "A vent.", "what picture 7 shows"),
    ("direction", "7", "north", "direction of picture 7"),
    ("distance", "7", "close-up", "distance of picture 7"),
    ("marks", "7", [], "marks on picture 7"),
    ("looked", "7", None, "not looked at picture 7"),
    ("finding", "3", None, "finding 3 withdrawn"),
    ("attached", "3/7", {"rank": 0}, "picture 7 on finding 3"),
    ("attached", "3/7", None, "picture 7 off finding 3"),
    ("delivered", "1/R. Moss", {"on": "2026-11-20"}, "edition 1 handed to R. Moss"),
    ("delivered", "1/R. Moss/2", {"to": "R. Moss", "on": "2026-11-21"}, "edition 1 handed to R. Moss"),
    ("not seen", "Crawl space", "Flooded.", "not seen: Crawl space"),
    ("not seen", "Crawl space", None, "seen after all: Crawl space"),
    ("film time", "Ostrel F2/DCIM/100OSTRE/WALK.MP4", {}, "film time of WALK.MP4"),
    ("frame", "7", None, "picture 7 taken out of its film"),
    ("narration", "narration/walk.vtt", {}, "narration walk.vtt"),
    ("said", "narration/walk.vtt 12.500", 3, "sentence taken as finding 3"),
]


@pytest.mark.parametrize(("what", "about", "value", "words"), TOLD)
def test_undo_names_what_a_decision_is_about(what: str, about: str, value: object, words: str) -> None:
    assert undo.told(Line(9, "", "", what, about, value, None, "", "")) == words


def test_every_kind_of_decision_has_a_name_for_undo() -> None:
    kinds = set(re.findall(r"^``([a-z ]+)``", state.__doc__ or "", re.MULTILINE))

    assert kinds == {what for what, *_ in TOLD}


@pytest.mark.parametrize(
    ("order", "shown"), [("number", [2, 1, 3]), ("system", [2, 3, 1]), ([3, 2], [3, 2, 1])]
)
def test_findings_stand_in_the_order_in_which_they_are_printed(
    page: Asker, order: str | list[int], shown: list[int]
) -> None:
    """Urgent ones first unless ordered by hand; by system, what no system was said of comes last."""
    with Desk.open(page.folder) as desk:
        findings.add(desk, {"seen": "A pane is cracked."})
        findings.add(desk, {"seen": "A cover is missing.", "urgent": True})
        findings.add(desk, {"seen": "A gutter hangs loose.", "system": "exterior"})
        findings.order(desk, order)

    names = re.findall(r'id="finding-(\d)" data-digest', page.get("/findings").text)

    assert [int(name) for name in names] == shown


def test_a_finding_with_pictures_is_one_act(page: Asker) -> None:
    page.act("room", frame=1, name="Attic")
    page.act("add", seen="A hose lies loose.", frames="2,3", distance="mid-range")

    with Desk.open(page.folder, write=False) as desk:
        state = desk.state()
    assert state.findings[0].room == "Attic"
    assert [str(a.distance) for a in state.attachments] == ["mid-range", "mid-range"]


def test_a_finding_is_not_written_without_the_pictures_it_was_to_have(page: Asker) -> None:
    before = (page.folder / "record.jsonl").read_bytes()

    told = page.act("add", seen="A hose lies loose.", frames="2,99", room="Attic")

    assert "99" in str(told["problem"])
    assert (page.folder / "record.jsonl").read_bytes() == before


def test_own_standard_findings_are_found_from_the_page(page: Asker) -> None:
    (page.folder / "mine.toml").write_text(MOSS, "utf-8")
    details = page.folder / "job.toml"
    told = details.read_text("utf-8").replace('own_findings = ""', 'own_findings = "mine.toml"')
    details.write_text(told, "utf-8")

    assert "OWN-01" in page.get("/search?words=moss").text


def test_a_page_of_very_many_parts_can_still_decide(page: Asker) -> None:
    """Two thousand pictures, each a visit of its own: what the page says it shows comes along with an act."""
    known = json.dumps({f"visit-{n}": "0123456789abcdef" for n in range(2000)})

    told = page.act("room", frame=1, name="Attic", view="walk", known=known)

    assert told["said"] == "Visit 1 is Attic."


def test_what_is_nested_too_deep_is_not_what_the_page_sends(page: Asker) -> None:
    assert page.post("/parts/walk", "[" * 60_000).status == 400
    assert page.act("room", frame=1, name="Attic", view="walk", known="[" * 60_000)["line"]


def test_whoever_opens_a_view_of_a_job_that_is_gone_reads_a_sentence(page: Asker) -> None:
    page.folder.rename(page.folder.with_name("moved"))

    answer = page.get("/walk", {"Accept": "text/html"})

    assert answer.status == 409
    assert not answer.text.startswith("{")
    assert not page.folder.exists()


def test_marks_are_drawn_and_taken_off(page: Asker) -> None:
    page.act("mark", frame=2, shape="ring", x0=0.2, y0=0.2, x1=0.4, y1=0.5)
    assert "ring" in str(page.get("/picture/2").told["marks"])

    page.act("unmark", frame=2, number=1)

    assert page.get("/picture/2").told["marks"] == []


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("room", {"frame": 99, "name": "Attic"}),
        ("overall", {"on": "yes"}),
        ("light", {"frames": " , ", "to": "1"}),
        ("looked", {"frames": "", "on": "yes"}),
        ("room", {"frame": "1; drop", "name": "Attic"}),
        ("room", {"frame": 1, "name": " "}),
        ("clock", {"camera": "no such camera", "add": "5", "reason": "by my watch"}),
        ("clock", {"camera": "", "add": "5", "reason": "by my watch"}),
        *(
            ("clock", {"camera": "camera", "add": add, "reason": "by my watch"})
            for add in ("nan", "1e99", "five", "inf")
        ),
        ("clock", {"camera": "camera", "add": "5", "reason": "by my watch", "frame": "1"}),
        ("light", {"frames": "1", "to": "nan"}),
        ("light", {"frames": "1", "to": "99"}),
        ("mark", {"frame": 1, "shape": "star", "x0": 0, "y0": 0, "x1": 1, "y1": 1}),
        ("mark", {"frame": 1, "shape": "box", "x0": -4, "y0": 0, "x1": 1, "y1": 1}),
        ("attach", {"finding": 7, "frames": "1"}),
        ("attach", {"finding": "²", "frames": "1"}),
        ("edit", {"finding": 7, "seen": "x"}),
        ("add", {"seen": "  "}),
        ("issue", {}),
    ],
)
def test_nonsense_is_answered_by_a_sentence_and_changes_nothing(
    page: Asker, name: str, fields: dict[str, object]
) -> None:
    before = (page.folder / "record.jsonl").read_bytes()

    assert page.act(name, **fields)["problem"]
    assert (page.folder / "record.jsonl").read_bytes() == before


def test_the_command_line_changing_the_job_is_noticed(page: Asker) -> None:
    known = page.parts("walk")
    done = subprocess.run(
        [sys.executable, "-m", "evidence", "rooms", str(page.folder), "--name", "1=Cellar"],
        check=False,
        capture_output=True,
    )

    now = page.parts("walk")

    assert done.returncode == 0
    assert now["version"] != known["version"]
    assert "Cellar" in str(now["parts"])


def test_only_parts_that_changed_are_sent_again(page: Asker) -> None:
    page.act("begins", frame=5, on="yes")
    html = page.get("/walk").text
    digests = shown(html)
    assert page.parts("walk", digests)["parts"] == {}

    page.act("room", frame=5, name="Attic")

    # The proposed overall views name their rooms.
    assert list(page.parts("walk", digests)["parts"]) == ["overalls", "visit-5"]  # type: ignore[call-overload]


def test_names_are_text_wherever_they_come_from(page: Asker) -> None:
    evil = '<img src=x onerror="alert(1)">'
    page.act("room", frame=1, name=evil)
    page.act("add", seen=evil, room=evil, frames="1")
    page.act("describe", frames="1", shown=evil)

    for view in ("walk", "findings", "gaps", "proof"):
        html = page.get(f"/{view}").text

        assert "<img src=x" not in html
        assert view == "proof" or "&lt;img src=x" in html


def test_pictures_are_attached_each_from_its_own_distance(page: Asker) -> None:
    page.act(
        "add", seen="A hose is loose.", frames="1,2,3", distances="mid-range,close-up,close-up with scale"
    )

    with Desk.open(page.folder, write=False) as desk:
        attached = desk.state().attached_to(1)
    assert [(a.frame, str(a.distance)) for a in attached] == [
        (1, "mid-range"),
        (2, "close-up"),
        (3, "close-up with scale"),
    ]
    refused = page.act("attach", finding=1, frames="4,5", distances="overall")
    assert "a distance for each picture" in str(refused["problem"])


def test_the_round_shows_every_picture_once_with_a_distance(page: Asker) -> None:
    things = json.loads(page.get("/round").text)
    shown = [frame for thing in things for view in thing["views"] for frame in view]

    assert shown
    assert len(shown) == len(set(shown))
    assert all(set(map(str, view)) <= set(thing["distances"]) for thing in things for view in thing["views"])
    assert not any(any(thing["done"]) for thing in things)
    page.act("add", seen="A hose is loose.", frames=shown[0])
    assert [any(thing["done"]) for thing in json.loads(page.get("/round").text)].count(True) == 1


def test_an_act_answers_with_what_it_changed_in_the_view_that_is_shown(page: Asker) -> None:
    page.act("begins", frame=5, on="yes")
    digests = shown(page.get("/walk").text)

    told = page.act("room", frame=5, name="Attic", view="walk", known=json.dumps(digests))

    changed = told["changed"]
    assert isinstance(changed, dict)
    assert changed["version"] == told["version"]
    assert list(changed["parts"]) == ["overalls", "visit-5"]
    assert "Attic" in changed["parts"]["visit-5"]
    assert page.parts("walk", digests | shown("".join(changed["parts"].values())))["parts"] == {}


def test_what_decides_nothing_is_not_said_to_be_saved(page: Asker) -> None:
    page.act("add", seen="A hose lies loose.", frames="2,3", distance="mid-range")
    before = (page.folder / "record.jsonl").read_bytes()

    first = page.act("first", finding=1, frame=2)  # it is first already

    assert first["line"] == 0
    assert (page.folder / "record.jsonl").read_bytes() == before
    assert page.act("first", finding=1, frame=3)["line"] == before.count(b"\n") + 2


@pytest.mark.parametrize("acts", [1, 4, 9])
def test_a_program_killed_while_decisions_come_loses_none_that_was_said_to_be_saved(
    taken_in: Path, tmp_path: Path, acts: int
) -> None:
    """The process is killed as a pulled plug would (SIGKILL), while the next decision is on its way."""
    folder = Path(shutil.copytree(taken_in, tmp_path / "job"))
    command = [sys.executable, "-m", "evidence", "review", str(folder), "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as serving:
        assert serving.stdout
        asker = Asker(serving.stdout.readline().strip(), folder)
        asker.enter()
        told = [asker.act("describe", frames="1", shown=f"view {number}") for number in range(acts)]
        saved = [(int(str(one["line"])), f"view {number}") for number, one in enumerate(told)]
        under_way = threading.Thread(target=lambda: _try(asker))
        under_way.start()
        serving.kill()
        under_way.join()

    with Desk.open(folder, write=False) as desk:
        assert [(n, desk.job.lines[n - 1].value) for n, _ in saved] == saved
    assert verify.verify(folder).sound


def _try(asker: Asker) -> None:
    with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
        asker.act("describe", frames="2", shown="perhaps")


def test_a_distance_is_taken_back_by_saying_none(page: Asker) -> None:
    """The choice stood there and did nothing, or was answered as done."""
    page.act("add", seen="A hose lies loose.", frames="2", distance="close-up")
    page.act("describe", frames="3", distance="overall")

    page.act("attach", finding=1, frames="2", distance="")
    page.act("describe", frames="3", distance="")

    with Desk.open(page.folder, write=False) as desk:
        (attached,) = desk.state().attachments
        (third,) = (p for p in desk.state().pictures if p.frame == 3)
        assert (attached.frame, attached.distance, third.distance) == (2, None, None)


def test_words_of_a_picture_leave_its_distance_as_it_was(page: Asker) -> None:
    page.act("describe", frames="3", distance="overall")
    page.act("describe", frames="3", shown="a gutter")

    with Desk.open(page.folder, write=False) as desk:
        assert [p.distance for p in desk.state().pictures if p.frame == 3] == ["overall"]
