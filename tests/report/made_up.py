"""A made-up house for the writers: words and pictures of our own, drawn from numbers."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date, datetime, timedelta, timezone

import cv2
import numpy as np

from evidence.report.contents import Contents, NotSeen, Photo, PrintSize, RequiredText, number_photos
from evidence.words import (
    CameraTime,
    Digest,
    Distance,
    Finding,
    FrameNumber,
    Light,
    Mark,
    Shape,
    TimeSource,
)

ROOMS = ("Front", "Kitchen", "Bath", "Bedroom 1", "Garage", "Attic, east", "Attic, west", "Crawl space")

FINDINGS = (
    Finding(
        1,
        "The bath fan's hose ends under the roof boards.",
        why="Warm, moist air condenses on cold wood; mold and rot follow.",
        do="Lead the hose to a hood outside and insulate it where it crosses the attic.",
        who="licensed HVAC contractor",
        place="above the bath, north slope",
        room="Attic, east",
        system="Ventilation",
    ),
    Finding(
        2,
        "The vent connector of the water heater has come apart at its second joint.",
        why="Combustion gas, carbon monoxide with it, can enter the house.",
        do="Shut the heater off now. Have the connector made anew and the draft tested.",
        who="licensed plumber or the gas utility",
        place="above the heater",
        room="Garage",
        system="Plumbing",
        urgent=True,
        hazard="carbon monoxide",
    ),
    Finding(
        3,
        "A receptacle cover by the sink is cracked.",
        why="Fingers can reach live parts.",
        do="Replace the cover.",
        who="licensed electrician",
        place="right of the sink",
        room="Kitchen",
        system="Electrical",
    ),
    Finding(
        4,
        "A rafter is split along the grain for about 3 ft.",
        why="It no longer carries its share of the roof.",
        do="Have the repair designed, then made.",
        who="structural engineer",
        room="Attic, west",
        system="Structure",
        limits="the lower end is buried in insulation",
    ),
)


def paint(index: int, width: int, height: int) -> np.ndarray:
    """A picture unlike any other: slopes of colour, boxes and a little grain."""
    rng = np.random.default_rng(index)
    x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
    base = (
        rng.uniform(60, 200, 3)
        + rng.uniform(-70, 70, 3) * x[..., None]
        + rng.uniform(-70, 70, 3) * y[..., None]
    )
    for _ in range(6):
        a, b = np.sort(rng.uniform(0, 1, (2, 2)), axis=0)
        inside = (x > a[0]) & (x < b[0]) & (y > a[1]) & (y < b[1])
        base[inside] = base[inside] * 0.4 + rng.uniform(0, 255, 3) * 0.6
    return np.clip(base + rng.normal(0, 6, base.shape), 0, 255).astype(np.uint8)


def encode(srgb: np.ndarray, quality: int = 85) -> bytes:
    return cv2.imencode(".jpg", srgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def printer(photo: Photo, size: PrintSize) -> bytes:
    """Paint the photo at the size asked for."""
    scale = min(1.0, size.longest_px / max(photo.width, photo.height))
    return encode(
        paint(photo.frame, max(1, round(photo.width * scale)), max(1, round(photo.height * scale))),
        size.quality,
    )


def house(photos: int = 12, upright: Callable[[int], bool] = lambda frame: frame % 4 == 3) -> Contents:
    """The whole appendix of a made-up house with so many photos."""
    shot: list[Photo] = []
    start = datetime(2026, 11, 25, 9, 2, 11)  # noqa: DTZ001 - a camera's clock has no zone
    for at in range(photos):
        frame = FrameNumber(at + 101)
        room = ROOMS[at * len(ROOMS) // photos]
        here = [f.number for f in FINDINGS if f.room == room]
        shows = tuple(here[:1]) if here and at % 3 else ()
        dark = room.startswith(("Attic", "Crawl"))
        width, height = (1200, 1600) if upright(frame) else (1600, 1200)
        shot.append(
            Photo(
                number=0,
                frame=frame,
                place=f"card-a/DCIM/100EVDNC/EVDN{frame:04}.JPG",
                digest=Digest(hashlib.sha256(bytes([at % 256, at // 256])).hexdigest()),
                width=width,
                height=height,
                room=room,
                findings=shows,
                rank=at,
                shown="" if shows else "north wall and floor" if at % 2 else "",
                direction="north" if at % 2 else "",
                direction_deg=None if at % 2 else 137.0,
                time=CameraTime(
                    start + timedelta(seconds=37 * at), None if at % 2 else -360, TimeSource.TAKEN
                ),
                light=Light(1, 4.0, 2.1, noise_luma=0.4, left_alone=False) if dark else Light(1),
                distance=Distance.OVERALL if not shows else Distance.CLOSE_UP,
                marks=(Mark(Shape.ARROW, 0.1, 0.1, 0.4, 0.5),) if shows and at % 2 else (),
            )
        )
    return Contents(
        address="14 Alder Court, Riverton",
        issued_at=datetime(2026, 11, 25, 19, 30, tzinfo=timezone(timedelta(hours=-6))),
        client="A. Marsh",
        inspector="R. Okafor",
        licence="HI-20418",
        inspected_on=date(2026, 11, 25),
        weather="41 °F, light rain in the morning",
        standard="State standard of practice named by the inspector",
        details=(("Present", "client, seller's agent"),),
        record_digest=Digest("ab" * 32),
        manifest_digest=Digest("cd" * 32),
        rooms=ROOMS,
        findings=FINDINGS,
        photos=number_photos(ROOMS, FINDINGS, shot),
        not_seen=(
            NotSeen("Roof, rear slope", "wet and steep; seen from the ground only"),
            NotSeen("Safe in bedroom 1"),
        ),
        confirmed=(
            "Rooms: all 8 confirmed by R. Okafor.",
            "Findings: 4 of 4 written or confirmed by R. Okafor.",
        ),
        required_texts=(RequiredText.of("Notice to the client", "First line.\nSecond line, word for word."),),
    )
