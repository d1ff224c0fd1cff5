"""The key that this site signs documents with."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error

from academy.environment import kept_secret
from assessments.pdf.signature import KeyUnusable, SigningKey, read_key, self_signed

HINT = "See MAKEPOINT_SIGNING_KEY in the README."


def signing_key(*, at: datetime) -> SigningKey:
    """The key that the settings name; without one, the site's own, made and kept on first use.

    Raises KeyUnusable for one that is given and can't be read, or doesn't go with its certificate.
    """
    if settings.SIGNING_KEY == settings.OWN_SIGNING_KEY:
        name = f"Makepoint, {settings.SITE_ADDRESS}"
        pem = kept_secret(
            path=settings.OWN_SIGNING_KEY, make=lambda: self_signed(name=name, at=at).decode("ascii")
        ).encode()
        return read_key(key=pem, certificates=pem)
    return _given_key()


def the_signing_key_is_usable(
    app_configs: Sequence[Any] | None = None,  # noqa: ARG001 (the key is one for all apps)
    **_options: Any,
) -> list[CheckMessage]:
    """Read the key that the settings name, before anybody waits for a document."""
    if settings.SIGNING_KEY == settings.OWN_SIGNING_KEY:
        return []
    try:
        _given_key()
    except KeyUnusable as fault:
        return [Error(f"Documents can’t be signed: {fault}.", hint=HINT, id="assessments.E001")]
    return []


def _given_key() -> SigningKey:
    try:
        key, certificates = settings.SIGNING_KEY.read_bytes(), settings.SIGNING_CERTIFICATE.read_bytes()
    except OSError as error:
        raise KeyUnusable(f"{error.filename} can’t be read ({error.strerror})") from error
    return read_key(key=key, certificates=certificates, passphrase=settings.SIGNING_PASSPHRASE)
