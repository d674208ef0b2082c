"""Sign an edition, ask for its time-stamp, take the reply; all beside the edition, never in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence import files, seal
from evidence.bag import MANIFEST
from evidence.errors import AlreadyThere, WrongUsage

if TYPE_CHECKING:
    from pathlib import Path

    from evidence.job import Job

SIGNATURE, PUBLIC_KEY, REQUEST, REPLY = ".sig", ".pub.pem", ".tsq", ".tsr"


@dataclass(frozen=True, slots=True)
class Sealed:
    """What vouches for an edition.

    Attributes
    ----------
    edition
        Its number.
    signed
        A signature lies beside it and holds.
    stamped
        The moment a time-stamp vouches for, ISO 8601, or "".
    waiting
        A request was written whose reply has not come.
    """

    edition: int
    signed: bool
    stamped: str
    waiting: bool


def sign(job: Job, edition: int, key: Path) -> Path:
    """Sign an edition with the inspector's key.

    Raises
    ------
    WrongUsage
        There is no such edition, or the key is none.
    AlreadyThere
        It is signed already.
    LibraryMissing, CannotWrite
        It could not be signed.
    """
    signature, public = seal.sign(_manifest(job, edition), key)
    _keep(_beside(job, edition, PUBLIC_KEY), public)
    return _keep(_beside(job, edition, SIGNATURE), signature)


def request(job: Job, edition: int) -> Path:
    """Write a request to be sent to a time-stamp authority; errors as for :func:`sign`."""
    return _keep(_beside(job, edition, REQUEST), seal.time_request(_manifest(job, edition)))


def accept(job: Job, edition: int, reply: Path, certificates: Path) -> Path:
    """Keep an authority's reply, if it holds.

    Raises
    ------
    SealBroken
        It does not; nothing was kept.
    WrongUsage, AlreadyThere, LibraryMissing, CannotWrite
        As for :func:`sign`.
    """
    data = _given(reply)
    seal.check_time(_manifest(job, edition), data, _given(certificates))
    return _keep(_beside(job, edition, REPLY), data)


def check(job: Job, edition: int, certificates: Path | None = None) -> Sealed:
    """Say what vouches for an edition.

    Raises
    ------
    SealBroken
        A signature or time-stamp beside it does not hold.
    WrongUsage
        There is no such edition, or a time-stamp cannot be checked for want of certificates.
    LibraryMissing
        The library is not installed.
    """
    manifest = _manifest(job, edition)
    signature, public, reply = (_beside(job, edition, s) for s in (SIGNATURE, PUBLIC_KEY, REPLY))
    if signature.is_file():
        seal.check_signature(manifest, signature.read_bytes(), _given(public))
    stamped = ""
    if reply.is_file():
        if certificates is None:
            raise WrongUsage("To check the time-stamp, give the authority's certificates.")
        stamped = seal.check_time(manifest, reply.read_bytes(), _given(certificates)).isoformat()
    waiting = _beside(job, edition, REQUEST).is_file() and not reply.is_file()
    return Sealed(edition, signature.is_file(), stamped, waiting)


def _manifest(job: Job, edition: int) -> bytes:
    try:
        return (job.issued / f"edition-{edition}" / MANIFEST).read_bytes()
    except OSError as problem:
        raise WrongUsage(f"There is no edition {edition} in this job.") from problem


def _beside(job: Job, edition: int, suffix: str) -> Path:
    return job.issued / f"edition-{edition}{suffix}"


def _given(place: Path) -> bytes:
    try:
        return place.read_bytes()
    except OSError as problem:
        raise WrongUsage(f"{files.shown(place.name)} cannot be read: {problem.strerror}.") from problem


def _keep(place: Path, data: bytes) -> Path:
    if place.exists() and place.read_bytes() != data:
        raise AlreadyThere(f"{place.name} stands there already.")
    files.write_whole(place, data)
    return place
