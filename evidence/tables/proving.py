"""Say what was issued, handed over, found again and proved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence.tables.layout import clean, runs
from evidence.words import count

if TYPE_CHECKING:
    from evidence.steps.deliver import Delivery
    from evidence.steps.issue import Issued
    from evidence.steps.proof import Proof
    from evidence.steps.seal import Sealed
    from evidence.steps.search import Search
    from evidence.steps.supply import Supplied
    from evidence.verify import Report


def proof(found: Proof) -> str:
    """Say which printed pictures are still to be looked at."""
    if not found.printed:
        return "Nothing would be printed yet."
    done = len(found.printed) - len(found.to_look_at)
    said = [f"{done} of {count(len(found.printed), 'printed picture')} looked at in full size."]
    if found.to_look_at:
        said.append(f"Still to look at: {runs(found.to_look_at)}")
        said.append("Look for what is not written up; tick with: evidence proof JOB NUMBER...")
    return "\n".join(said)


def issued(made: Issued) -> str:
    """Say what was issued."""
    name = made.folder.name
    said = [
        f"Issued {name}: {count(made.findings, 'finding')}, {count(made.photos, 'photo')}.",
        *(f"  {made.folder / file}" for file in made.files),
        f"SHA-256 of its manifest: {made.digest}",
    ]
    if made.said:
        said.append(made.said)
    said += [f"Mind: {clean(sentence)}" for sentence in made.lacking]
    if made.unlooked:
        some = count(len(made.unlooked), "printed picture")
        said.append(f"{some} not marked as looked at in full size: look for things not written up.")
    return "\n".join(said)


def delivered(one: Delivery) -> str:
    """Say what was noted of a delivery."""
    way = f" by {clean(one.by)}" if one.by else ""
    said = [f"Noted: edition {one.edition} was delivered to {clean(one.to)} on {one.on.isoformat()}{way}."]
    said += [f"  {name}  {digest}" for name, digest in one.files.items()]
    if one.said:
        said.append(f"Mind: {one.said}")
    return "\n".join(said)


def supplied(made: Supplied) -> str:
    """Say what was handed over."""
    numbers = ", ".join(map(str, made.findings))
    findings = f"finding{'' if len(made.findings) == 1 else 's'} {numbers}"
    return (
        f"{count(len(made.originals), 'original')} of {findings}, each read back equal, in "
        f"{clean(str(made.folder))}\n"
        f"Its manifest's SHA-256, which stands for all of them: {made.manifest}\n"
        "These are untouched originals: they may hold a position and a serial number."
    )


def searched(result: Search) -> str:
    """List the jobs found, with what was found in each."""
    said = []
    for one in result.found:
        head = ", ".join(clean(part) for part in (one.address, one.client, one.inspected) if part)
        said.append(f"{clean(str(one.folder))}\n  {head or 'no details'}; {count(one.editions, 'edition')}")
        said += [f"  {clean(where)}" for where in one.where[:5]]
        if len(one.where) > 5:
            said.append(f"  and {len(one.where) - 5} more")
    said.append(f"{count(len(result.found), 'job')} of {result.jobs} looked through.")
    said += [f"Could not be read: {clean(str(folder))}: {clean(why)}" for folder, why in result.unread]
    return "\n".join(said)


def verified(report: Report) -> str:
    """Say what a check found, plain words first."""
    return "\n".join(clean(line) for line in report.sentences)


def sealed(found: Sealed) -> str:
    """Say what vouches for an edition."""
    said = [
        f"Edition {found.edition}: {'signed, and the signature holds' if found.signed else 'not signed'}."
    ]
    if found.stamped:
        said.append(f"Its time-stamp holds: the manifest existed at {found.stamped}.")
    elif found.waiting:
        said.append("A time-stamp was asked for; its reply has not come yet.")
    else:
        said.append("No time-stamp: the date rests on the camera's and the computer's clocks.")
    return "\n".join(said)
