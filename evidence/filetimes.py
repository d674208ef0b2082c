"""Read card files' own times on the local clock, for cards whose pictures tell no time themselves.

Pure: seconds in, seconds out. Hides what a file's time may mean. Leaves it to others to say of a
picture placed so that its place is assumed.
"""

from __future__ import annotations

import zoneinfo
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median

from evidence.clocks import REMAINDER_S

_QUARTER_S = 900.0
_WEST_S, _EAST_S = -12 * 3600.0, 14 * 3600.0
"""Zones in use lie within (IANA time zone database)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """How file times are made local.

    Attributes
    ----------
    offset_s
        Seconds to add; None reads them in ``zone``.
    zone
        The house's time zone (IANA name).
    how
        The assumption that is made, in words.
    """

    offset_s: float | None
    zone: str
    how: str

    def local(self, file_s: float) -> float:
        """Give what a clock at the house showed at a file's time, both in seconds since 1970."""
        if self.offset_s is not None:
            return file_s + self.offset_s
        there = datetime.fromtimestamp(file_s, UTC).astimezone(zoneinfo.ZoneInfo(self.zone))
        return there.replace(tzinfo=UTC).timestamp()


def reading(told: Sequence[tuple[float, float]], zone: str, offsets: Sequence[int]) -> Reading:
    """Say how the file times of a job are to be read.

    Parameters
    ----------
    told
        What a camera's clock showed and the time of its file, of every picture that tells both.
    zone
        The house's time zone (IANA name), "" when not given.
    offsets
        Minutes east of UTC that the job's pictures recorded.

    Returns
    -------
    A reading that is assumed, never known.

    Notes
    -----
    A FAT card holds local times; the system that read it made them UTC by that computer's zone, which
    need not be the house's. How far the file times of other cards lie from what their cameras showed
    tells it, a fault of those clocks included, which stands in both. Files copied in one go have times
    that say nothing: pictures of a quarter of an hour and more must agree. A disk that keeps UTC gives
    the house's clock by the house's zone.
    """
    gaps = [shown - written for shown, written in told]
    if gaps and max(shown for shown, _ in told) - min(shown for shown, _ in told) >= _QUARTER_S:
        offset = round(median(gaps) / _QUARTER_S) * _QUARTER_S
        agreeing = sum(abs(gap - offset) < REMAINDER_S for gap in gaps)
        if _WEST_S <= offset <= _EAST_S and agreeing >= 0.8 * len(gaps):
            return Reading(offset, zone, "read as those of the other pictures lie to their cameras' clocks")
    if zone:
        return Reading(None, zone, "read in the house's zone")
    if offsets:
        return Reading(60.0 * Counter(offsets).most_common(1)[0][0], zone, "read in the other pictures' zone")
    return Reading(0.0, zone, "read as UTC, for nothing tells the zone")
