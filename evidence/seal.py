"""Sign an edition with the inspector's own key, and tie it to a moment by somebody else's clock.

Hides the two libraries, both optional. What is signed and time-stamped is the edition's manifest,
which stands for every byte of it; the results lie beside the edition, as files that ``openssl``
reads. Nothing here goes online: a request is written, and a reply brought back is checked.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import contextmanager
from typing import TYPE_CHECKING

from evidence import files
from evidence.errors import AlreadyThere, LibraryMissing, SealBroken, WrongUsage
from evidence.settings import JOB_FILE

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from pathlib import Path

INSTALL = "Install it with: pip install 'evidence-appendix[seal]'"


@contextmanager
def _libraries() -> Iterator[None]:
    try:
        yield
    except ImportError as problem:
        raise LibraryMissing(f"Sealing needs {problem.name}, which is not installed. {INSTALL}") from problem


def new_key(place: Path) -> None:
    """Make an Ed25519 key (RFC 8032) and keep it where only its owner may read it.

    Parameters
    ----------
    place
        A file outside any job; PKCS 8 in PEM, not encrypted.

    Raises
    ------
    WrongUsage
        The file would lie in a job, or in a folder that is not there.
    AlreadyThere
        A file stands there; a key is never overwritten.
    LibraryMissing, CannotWrite
        It could not be made.
    """
    with _libraries():
        from cryptography.hazmat.primitives import serialization  # noqa: PLC0415 - optional
        from cryptography.hazmat.primitives.asymmetric import ed25519  # noqa: PLC0415 - optional
    for folder in place.resolve().parents:
        if (folder / JOB_FILE).is_file():  # whoever is handed the job would be handed the key with it
            raise WrongUsage(
                f"{files.shown(place.name)} would lie in the job {files.shown(folder.name)}; "
                "keep the key outside any job."
            )
    if not place.parent.is_dir():
        raise WrongUsage(
            f"There is no folder {files.shown(str(place.parent))} to keep the key in; make it first, "
            "or name another."
        )
    text = ed25519.Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    with files.writing(place.parent):
        try:
            descriptor = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            raise AlreadyThere(f"{files.shown(place.name)} stands there already.") from None
        with os.fdopen(descriptor, "wb") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())


def sign(manifest: bytes, key: Path) -> tuple[bytes, bytes]:
    """Sign a manifest.

    Parameters
    ----------
    key
        As :func:`new_key` made it.

    Returns
    -------
    The signature, 64 bytes, and the public key in PEM.

    Raises
    ------
    WrongUsage
        The file cannot be read, is locked with a password, or holds no Ed25519 key.
    LibraryMissing
        The library is not installed.
    """
    with _libraries():
        from cryptography.hazmat.primitives import serialization  # noqa: PLC0415 - optional
        from cryptography.hazmat.primitives.asymmetric import ed25519  # noqa: PLC0415 - optional
    name = files.shown(key.name)
    try:
        private = serialization.load_pem_private_key(key.read_bytes(), password=None)
    except OSError as problem:
        raise WrongUsage(f"{name} cannot be read: {problem.strerror}.") from problem
    except TypeError as problem:  # so the library says that it was given no password
        raise WrongUsage(f"{name} is locked with a password; give a key without one.") from problem
    except ValueError as problem:
        raise WrongUsage(f"{name} holds no private key in PEM.") from problem
    if not isinstance(private, ed25519.Ed25519PrivateKey):
        raise WrongUsage(f"{name} is a key of another kind; Ed25519 is needed.")
    public = private.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    return private.sign(manifest), public


def check_signature(manifest: bytes, signature: bytes, public: bytes) -> None:
    """Check a signature.

    Raises
    ------
    SealBroken
        It is not of this manifest by this key.
    LibraryMissing
        The library is not installed.
    """
    with _libraries():
        from cryptography.exceptions import InvalidSignature  # noqa: PLC0415 - optional
        from cryptography.hazmat.primitives import serialization  # noqa: PLC0415 - optional
        from cryptography.hazmat.primitives.asymmetric import ed25519  # noqa: PLC0415 - optional
    try:
        key = serialization.load_pem_public_key(public)
        if not isinstance(key, ed25519.Ed25519PublicKey):
            raise SealBroken("The public key beside the signature is of another kind.")
        key.verify(signature, manifest)
    except (InvalidSignature, ValueError) as problem:
        raise SealBroken("The signature is not of this edition's manifest by this key.") from problem


def time_request(manifest: bytes) -> bytes:
    """Write a time-stamp request (RFC 3161) that carries only the manifest's digest.

    Raises
    ------
    LibraryMissing
        The library is not installed.
    """
    with _libraries():
        import rfc3161_client  # noqa: PLC0415 - optional
    builder = rfc3161_client.TimestampRequestBuilder(data=manifest)
    return builder.hash_algorithm(rfc3161_client.HashAlgorithm.SHA256).build().as_bytes()


def check_time(manifest: bytes, reply: bytes, certificates: bytes) -> datetime:
    """Check a time-stamp reply against certificates that the inspector supplies.

    Parameters
    ----------
    reply
        As the authority sent it.
    certificates
        PEM: the authority's root, and any between it and the signer.

    Returns
    -------
    The moment the authority vouches for.

    Raises
    ------
    WrongUsage
        There is no certificate in PEM among what was supplied.
    SealBroken
        The reply is none, or not of this manifest, or not by these certificates.
    LibraryMissing
        The library is not installed.
    """
    with _libraries():
        import rfc3161_client  # noqa: PLC0415 - optional
        from cryptography import x509  # noqa: PLC0415 - optional
    try:
        loaded = x509.load_pem_x509_certificates(certificates)
    except ValueError as problem:
        raise WrongUsage("What was given with --certificates holds no certificate in PEM.") from problem
    try:
        response = rfc3161_client.decode_timestamp_response(reply)
        builder = rfc3161_client.VerifierBuilder(intermediates=[], roots=[])
        for certificate in loaded:
            # A root vouches for itself; whatever else is in the file lies between it and the signer.
            own = certificate.issuer == certificate.subject
            builder = (
                builder.add_root_certificate(certificate)
                if own
                else builder.add_intermediate_certificate(certificate)
            )
        builder.build().verify(response, hashlib.sha256(manifest).digest())
    except (ValueError, rfc3161_client.VerificationError) as problem:
        raise SealBroken(f"The time-stamp does not hold: {problem}.") from problem
    return response.tst_info.gen_time
