"""The device key's file: who may read it, what it may hold, and what is said."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa

from daemon.keys import DeviceKeyError, create, load, read_public

PKCS8 = serialization.PrivateFormat.PKCS8
SPKI = serialization.PublicFormat.SubjectPublicKeyInfo
PEM = serialization.Encoding.PEM
OPEN = serialization.NoEncryption()

KINDS = [  # a private key of another kind, what it is called
    (rsa.generate_private_key(65537, 2048), "an RSA key"),
    (ed25519.Ed25519PrivateKey.generate(), "an Ed25519 key"),
    (ec.generate_private_key(ec.SECP384R1()), "a key on the curve secp384r1"),
]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "device-key.pem"


def words(path: Path) -> str:
    with pytest.raises(DeviceKeyError) as told:
        load(path)
    return str(told.value)


def leave(path: Path, pem: bytes, mode: int = 0o600) -> None:
    path.write_bytes(pem)
    path.chmod(mode)


def test_a_new_key_is_private_and_reads_back(path: Path) -> None:
    made = create(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert load(path).public().pem() == made.public().pem()
    assert made.sign(b"x") == load(path).sign(b"x")


def test_a_loose_umask_opens_nothing(path: Path) -> None:
    before = os.umask(0)
    try:
        create(path)
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_key_is_never_written_over(path: Path) -> None:
    first = create(path).public().pem()
    with pytest.raises(DeviceKeyError) as told:
        create(path)
    assert str(told.value) == (
        f"{path}: there is a file already, and it stays\n"
        "  records made before are verified with the key that signed them; "
        "to begin a new key, move the old one away first"
    )
    assert load(path).public().pem() == first


def test_a_link_is_not_followed_to_make_one(path: Path, tmp_path: Path) -> None:
    path.symlink_to(tmp_path / "elsewhere.pem")
    with pytest.raises(DeviceKeyError, match="there is a file already"):
        create(path)
    assert not (tmp_path / "elsewhere.pem").exists()


def test_the_directory_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(DeviceKeyError) as told:
        create(tmp_path / "none" / "device-key.pem")
    assert str(told.value) == (
        f"{tmp_path}/none: there is no such directory\n"
        f"  make it, for the daemon's user only: install -d -m 700 {tmp_path}/none"
    )


def test_the_directory_must_not_be_open_to_writing(tmp_path: Path) -> None:
    tmp_path.chmod(0o777)
    with pytest.raises(DeviceKeyError) as told:
        create(tmp_path / "device-key.pem")
    assert str(told.value) == (
        f"{tmp_path}: others may write here (mode 0777), and could put their own "
        f"key in place of yours\n  mend it: chmod go-w {tmp_path}"
    )


def test_a_missing_key_says_how_to_make_one(path: Path) -> None:
    assert words(path) == (
        f"{path}: there is no device key\n  make one: fumarium key create"
    )


def test_a_directory_is_no_key(path: Path) -> None:
    path.mkdir()
    assert words(path) == f"{path}: Is a directory"


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o644])
def test_a_key_that_others_may_read_is_not_used(path: Path, mode: int) -> None:
    create(path)
    path.chmod(mode)
    assert words(path) == (
        f"{path}: others may read the device key (mode {mode:04o})\n"
        f"  mend it: chmod 600 {path}"
    )


@pytest.mark.parametrize(("key", "called"), KINDS)
def test_a_key_of_another_kind_is_named(
    path: Path, key: rsa.RSAPrivateKey, called: str
) -> None:
    leave(path, key.private_bytes(PEM, PKCS8, OPEN))
    assert words(path) == (
        f"{path}: this is {called}, and records are signed by P-256\n"
        "  give the file that was made by: fumarium key create"
    )
    with pytest.raises(DeviceKeyError) as told:
        read_public(key.public_key().public_bytes(PEM, SPKI))
    assert str(told.value) == (
        f"the public key is {called}, and records are signed by P-256\n"
        "  give the public key of the board that made the record"
    )


@pytest.mark.parametrize("pem", [b"", b"hello", b"\xff" * 40])
def test_what_is_no_key_at_all(path: Path, pem: bytes) -> None:
    leave(path, pem)
    assert words(path) == (
        f"{path}: this is not a private key in PEM form\n"
        "  give the file that was made by: fumarium key create"
    )
    with pytest.raises(DeviceKeyError) as told:
        read_public(pem)
    assert str(told.value) == (
        "the public key is not in PEM form\n"
        "  it begins with the line: -----BEGIN PUBLIC KEY-----"
    )


def test_the_public_half_is_no_device_key(path: Path) -> None:
    pem = create(path).public().pem()
    leave(path, pem)
    assert "this is not a private key in PEM form" in words(path)
    assert read_public(pem).pem() == pem


def test_a_password_would_stop_the_daemon_at_night(path: Path) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    locked = serialization.BestAvailableEncryption(b"hush")
    leave(path, key.private_bytes(PEM, PKCS8, locked))
    assert words(path) == (
        f"{path}: the key is locked by a password, which nobody can type at night\n"
        "  make a key of its own for this board: fumarium key create"
    )


def test_importing_the_module_costs_no_cryptography() -> None:
    code = "import sys, daemon.keys; print('cryptography' in sys.modules)"
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert found.stdout == "False\n"
