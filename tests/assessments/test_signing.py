"""The key that the site signs with: one that it is given, or its own."""

import stat
from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives import serialization

from assessments.pdf.signature import KeyUnusable, self_signed
from assessments.signing import signing_key, the_signing_key_is_usable

AT = datetime(2025, 3, 3, 14, 5, tzinfo=UTC)


@pytest.fixture
def own(settings, tmp_path):
    """A site that was given none."""
    path = tmp_path / "signing-key.pem"
    settings.OWN_SIGNING_KEY = settings.SIGNING_KEY = settings.SIGNING_CERTIFICATE = path
    settings.SITE_ADDRESS = "https://makepoint.example"
    return path


@pytest.fixture
def given(own, settings, tmp_path):
    """A site that was given one with a passphrase, in two files."""
    made = self_signed(name="Marrowfen Gas Skills Workshop", at=AT)
    key = serialization.load_pem_private_key(made, None)
    locked = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(b"opens it"),
    )
    settings.SIGNING_KEY, settings.SIGNING_CERTIFICATE = tmp_path / "key", tmp_path / "certificate"
    settings.SIGNING_PASSPHRASE = "opens it"
    settings.SIGNING_KEY.write_bytes(locked)
    settings.SIGNING_CERTIFICATE.write_bytes(made[made.index(b"-----BEGIN CERT") :])
    return settings


def test_a_site_without_one_makes_its_own_once_for_its_owner_alone(own):
    first = signing_key(at=AT)

    assert signing_key(at=AT) == first
    assert first.certificate.name == "Makepoint, https://makepoint.example"
    assert first.certificate.is_self_signed
    assert stat.S_IMODE(own.stat().st_mode) == 0o600
    assert the_signing_key_is_usable() == []


def test_a_key_that_is_given_is_used_with_its_passphrase(given, own):
    assert signing_key(at=AT).certificate.name == "Marrowfen Gas Skills Workshop"
    assert the_signing_key_is_usable() == []
    assert not own.exists()


def test_a_wrong_passphrase_is_said_when_the_site_starts(given):
    given.SIGNING_PASSPHRASE = "doesn’t open it"

    (fault,) = the_signing_key_is_usable()

    assert fault.id == "assessments.E001"
    assert "MAKEPOINT_SIGNING_KEY" in fault.hint and "opens so" in fault.msg
    with pytest.raises(KeyUnusable):
        signing_key(at=AT)


def test_a_file_that_is_not_there_is_named(given):
    given.SIGNING_CERTIFICATE.unlink()

    (fault,) = the_signing_key_is_usable()

    assert str(given.SIGNING_CERTIFICATE) in fault.msg and "No such file" in fault.msg
