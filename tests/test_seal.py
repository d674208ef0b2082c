"""Signatures and time-stamps, checked by openssl and against a local authority of openssl's."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization

from evidence import seal
from evidence.errors import AlreadyThere, SealBroken, WrongUsage

openssl = pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")

AUTHORITY = """
[tsa]
default_tsa = local
[local]
dir = .
serial = ./serial
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ess_cert_id_alg = sha256
"""


def run(folder: Path, *words: str) -> str:
    return subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True, text=True).stdout


@pytest.fixture
def key(tmp_path: Path) -> Path:
    seal.new_key(tmp_path / "inspector.pem")
    return tmp_path / "inspector.pem"


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A time-stamp authority that signs with a certificate of its own root."""
    folder = tmp_path_factory.mktemp("authority")
    (folder / "tsa.cnf").write_text(AUTHORITY)
    (folder / "serial").write_text("01\n")
    run(
        folder,
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-keyout",
        "root.key",
        "-out",
        "root.pem",
        "-subj",
        "/CN=Test Root",
        "-days",
        "2",
    )
    run(
        folder,
        "req",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-keyout",
        "tsa.key",
        "-out",
        "tsa.csr",
        "-subj",
        "/CN=Test TSA",
    )
    (folder / "ext").write_text(
        "extendedKeyUsage=critical,timeStamping\nbasicConstraints=CA:FALSE\nkeyUsage=digitalSignature\n"
    )
    run(
        folder,
        "x509",
        "-req",
        "-in",
        "tsa.csr",
        "-CA",
        "root.pem",
        "-CAkey",
        "root.key",
        "-CAcreateserial",
        "-out",
        "tsa.pem",
        "-days",
        "2",
        "-extfile",
        "ext",
    )
    return folder


def reply_to(authority: Path, request: bytes) -> bytes:
    (authority / "r.tsq").write_bytes(request)
    run(
        authority,
        "ts",
        "-reply",
        "-queryfile",
        "r.tsq",
        "-signer",
        "tsa.pem",
        "-inkey",
        "tsa.key",
        "-config",
        "tsa.cnf",
        "-out",
        "r.tsr",
    )
    return (authority / "r.tsr").read_bytes()


def test_a_key_that_cannot_sign_is_refused_with_what_is_wrong(key: Path, tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match=r"^none\.pem cannot be read: No such file or directory\.$"):
        seal.sign(b"the manifest", tmp_path / "none.pem")
    (tmp_path / "words.pem").write_text("no key")
    with pytest.raises(WrongUsage, match=r"^words\.pem holds no private key in PEM\.$"):
        seal.sign(b"the manifest", tmp_path / "words.pem")
    private = serialization.load_pem_private_key(key.read_bytes(), password=None)
    locked = private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(b"word"),
    )
    (tmp_path / "locked.pem").write_bytes(locked)
    with pytest.raises(WrongUsage, match=r"^locked\.pem is locked with a password"):
        seal.sign(b"the manifest", tmp_path / "locked.pem")


def test_a_key_is_not_made_in_a_job_that_is_handed_on(tmp_path: Path) -> None:
    (tmp_path / "job" / "issued").mkdir(parents=True)
    (tmp_path / "job" / "job.toml").touch()

    with pytest.raises(WrongUsage, match=r"would lie in the job job; keep the key outside any job\.$"):
        seal.new_key(tmp_path / "job" / "issued" / "inspector.pem")

    assert not (tmp_path / "job" / "issued" / "inspector.pem").exists()


def test_a_key_for_a_missing_folder_is_refused_by_naming_it(tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match=r"There is no folder .*keys"):
        seal.new_key(tmp_path / "keys" / "inspector.pem")


def test_certificates_that_are_none_do_not_make_a_seal_broken() -> None:
    with pytest.raises(WrongUsage, match="holds no certificate in PEM"):
        seal.check_time(b"the manifest", b"a reply", b"no certificate")


@openssl
def test_openssl_confirms_a_signature(key: Path, tmp_path: Path) -> None:
    """OpenSSL's pkeyutl is the outside reader of the Ed25519 signature (RFC 8032)."""
    signature, public = seal.sign(b"the manifest", key)
    for name, data in (("m", b"the manifest"), ("s", signature), ("p.pem", public)):
        (tmp_path / name).write_bytes(data)

    said = run(
        tmp_path, "pkeyutl", "-verify", "-pubin", "-inkey", "p.pem", "-rawin", "-in", "m", "-sigfile", "s"
    )

    assert "Verified Successfully" in said


def test_one_flipped_bit_breaks_a_signature(key: Path) -> None:
    signature, public = seal.sign(b"the manifest", key)
    seal.check_signature(b"the manifest", signature, public)

    for n in range(0, 512, 37):
        flipped = bytearray(signature)
        flipped[n // 8] ^= 1 << (n % 8)
        with pytest.raises(SealBroken):
            seal.check_signature(b"the manifest", bytes(flipped), public)
    with pytest.raises(SealBroken):
        seal.check_signature(b"the manifesT", signature, public)


def test_a_key_is_kept_for_its_owner_alone_and_never_overwritten(key: Path) -> None:
    assert key.stat().st_mode & 0o077 == 0
    with pytest.raises(AlreadyThere):
        seal.new_key(key)


def test_what_is_no_key_is_refused(tmp_path: Path) -> None:
    (tmp_path / "no.pem").write_text("hello")

    with pytest.raises(WrongUsage, match=r"no\.pem"):
        seal.sign(b"x", tmp_path / "no.pem")


@openssl
def test_a_local_authority_answers_our_request_and_its_reply_holds(authority: Path) -> None:
    reply = reply_to(authority, seal.time_request(b"the manifest"))

    moment = seal.check_time(b"the manifest", reply, (authority / "root.pem").read_bytes())

    assert moment.tzinfo is not None


@openssl
def test_a_reply_for_other_bytes_or_by_another_root_does_not_hold(authority: Path, tmp_path: Path) -> None:
    reply = reply_to(authority, seal.time_request(b"the manifest"))
    run(
        tmp_path,
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-keyout",
        "o.key",
        "-out",
        "o.pem",
        "-subj",
        "/CN=Other Root",
        "-days",
        "2",
    )

    with pytest.raises(SealBroken):
        seal.check_time(b"another manifest", reply, (authority / "root.pem").read_bytes())
    with pytest.raises(SealBroken):
        seal.check_time(b"the manifest", reply, (tmp_path / "o.pem").read_bytes())
    with pytest.raises(SealBroken):
        seal.check_time(b"the manifest", reply[:-9], (authority / "root.pem").read_bytes())
