"""Say what to do about a refusal on the page: an error's own remedy is a command's.

Hides which of them the page can do itself. What only a command can do stays a command.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from evidence.errors import (
    BadSetting,
    DatabaseBusy,
    DiskFull,
    EmptyFinding,
    EvidenceError,
    JobHeld,
    NoAddress,
    NotAJob,
    NotIssuable,
    NotLookedAt,
    UnknownFinding,
    UnknownPicture,
    UnknownRoom,
    UnknownSentence,
    UnknownStandard,
    WrongUsage,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

_ON_PAGE: Final[Mapping[type[EvidenceError], str]] = {
    WrongUsage: "",  # its sentence says it all; there is no --help here
    UnknownPicture: "Walk shows the pictures that there are.",
    UnknownFinding: "Findings shows those that there are.",
    UnknownStandard: "A few letters of what was seen find another.",
    UnknownRoom: "Walk shows the visits that there are.",
    UnknownSentence: "Walk shows what was said.",
    EmptyFinding: "Write what was seen, or choose a standard finding.",
    BadSetting: "Correct it in job.toml; the page goes on by itself.",
    NotIssuable: "Write a finding, or let a picture be printed as overall view of its room.",
    NotLookedAt: "Look at them under Proof, or say there why the edition goes out all the same.",
    NoAddress: "Fill in “address” in job.toml, then press it here again.",
    JobHeld: "Wait until it ends, or end it, then do this here again.",
    DatabaseBusy: "Close whatever has job.sqlite open, a backup for example, then do this here again.",
    DiskFull: "Make room on the disk, then do this here again.",
    NotAJob: "Bring its folder back to where it was, or open it where it is now with: evidence review JOB",
}


def on_page(problem: EvidenceError) -> str:
    """Give what to do about it for somebody who is on the page; "" where the error says it itself."""
    return _ON_PAGE.get(type(problem), problem.remedy)
