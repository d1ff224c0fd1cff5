"""Signing a PDF, and telling whether a signed one is still what was signed (ISO 32000-1, 12.8).

The signature is added to a document as an incremental update, so what is signed stays byte for byte as it
was. It is a detached CMS (RFC 5652) in the profile of PAdES (ETSI EN 319 142-1, baseline B-B).
"""

import asyncio
import hashlib
import io
import re
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from asn1crypto import cms, keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.general import extract_certificate_info, extract_signer_info
from pyhanko.sign.signers import SimpleSigner
from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigIOSetup, SigObjSetup
from pyhanko.sign.signers.pdf_byterange import SignatureObject
from pyhanko.sign.validation.generic_cms import validate_sig_integrity
from pyhanko_certvalidator.registry import SimpleCertificateStore

FIELD = "Signature"
RESERVED = 16_384
"""Hexadecimal digits kept free for the signature: a chain of three certificates with RSA keys fits."""
LEAST_RSA_BITS = 2048
VALID_FOR = timedelta(days=3653)
"""Of a certificate made here."""
RANGES = re.compile(rb"/ByteRange\s*\[\s*(\d{1,12})\s+(\d{1,12})\s+(\d{1,12})\s+(\d{1,12})\s*\]")
DIGESTS = frozenset({"sha256", "sha384", "sha512"})
UNREADABLE = (
    ValueError,
    TypeError,
    KeyError,
    IndexError,
    AttributeError,
    RecursionError,
    UnsupportedAlgorithm,
)
"""What the readers of ASN.1 raise for bytes that aren't what they should be."""


class KeyUnusable(ValueError):
    """Documents can't be signed with that key or certificate. The message says why in one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """``sha256`` is its fingerprint: of the certificate in DER."""

    name: str
    sha256: str
    is_self_signed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SigningKey:
    """A private key in DER (PKCS #8), and its certificate in DER with those that vouch for it."""

    key: bytes = field(repr=False)
    chain: tuple[bytes, ...]

    @property
    def certificate(self) -> Certificate:
        return _described(asn1_x509.Certificate.load(self.chain[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """The last signature in a file. ``is_intact``: what it covers is as it was when it was signed."""

    by: Certificate
    is_intact: bool
    covers_whole_file: bool


class Appending(IncrementalPdfFileWriter):
    """Adds a signature and nothing else: PDF/A wants the two places that describe a document to agree."""

    def _update_meta(self) -> None:
        pass


def read_key(*, key: bytes, certificates: bytes, passphrase: str = "") -> SigningKey:
    """Read a private key (ECDSA on P-256, or RSA) and its certificate, in PEM. Raises KeyUnusable."""
    try:
        private = serialization.load_pem_private_key(key, passphrase.encode() or None)
        chain = x509.load_pem_x509_certificates(certificates)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise KeyUnusable(f"it isn’t a key with its certificate in PEM that opens so ({error})") from error
    if not _is_fit(private):
        raise KeyUnusable(f"it is neither ECDSA on P-256 nor RSA with {LEAST_RSA_BITS} bits or more")
    if private.public_key() != chain[0].public_key():
        raise KeyUnusable("the first certificate isn’t that of the key")
    return SigningKey(
        key=private.private_bytes(
            serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        ),
        chain=tuple(each.public_bytes(serialization.Encoding.DER) for each in chain),
    )


def self_signed(*, name: str, at: datetime) -> bytes:
    """A new P-256 key with a certificate that it vouches for itself, in PEM, one after the other."""
    private = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name[:64])])  # RFC 5280, ub-common-name
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - timedelta(days=1))
        .not_valid_after(at + VALID_FOR)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_for_signing(), critical=True)
        .sign(private, hashes.SHA256())
    )
    key = private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return key + certificate.public_bytes(serialization.Encoding.PEM)


def sign(*, content: bytes, key: SigningKey, reason: str, at: datetime) -> bytes:
    """The PDF with a signature added, which nothing on its pages shows. It begins with the PDF as it was."""
    out = io.BytesIO(content)
    signing = PdfCMSEmbedder(new_field_spec=SigFieldSpec(sig_field_name=FIELD)).write_cms(
        field_name=FIELD, writer=Appending(out)
    )
    next(signing)
    placeholder = SignatureObject(
        timestamp=at, subfilter=SigSeedSubFilter.PADES, reason=reason, bytes_reserved=RESERVED
    )
    signing.send(SigObjSetup(sig_placeholder=placeholder))
    prepared, written = signing.send(SigIOSetup(md_algorithm="sha256", in_place=True))
    signing.send(_cms_of(prepared.document_digest, key=key))
    return bytes(written.getvalue())


def verify(*, content: bytes) -> Signature | None:
    """The last signature in a PDF, looked at by itself: whom to trust is for the reader to say.

    None where there is none, or nothing that can be read as one. The file is taken as bytes, not as a PDF:
    whatever somebody sends takes no longer, and no more memory, than its size.
    """
    for start, end, after in _gaps(content):
        try:
            return _looked_at(content, start=start, end=end, after=after)
        except UNREADABLE:
            continue
    return None


def _is_fit(private: object) -> bool:
    if isinstance(private, rsa.RSAPrivateKey):
        return private.key_size >= LEAST_RSA_BITS
    return isinstance(private, ec.EllipticCurvePrivateKey) and isinstance(private.curve, ec.SECP256R1)


def _for_signing() -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )


def _described(certificate: asn1_x509.Certificate) -> Certificate:
    return Certificate(
        name=str(certificate.subject.native.get("common_name") or certificate.subject.human_friendly),
        sha256=hashlib.sha256(certificate.dump()).hexdigest(),
        is_self_signed=certificate.subject == certificate.issuer,
    )


def _cms_of(digest: bytes, *, key: SigningKey) -> cms.ContentInfo:
    certificate, *others = (asn1_x509.Certificate.load(each) for each in key.chain)
    signer = SimpleSigner(
        signing_cert=certificate,
        signing_key=keys.PrivateKeyInfo.load(key.key),
        cert_registry=_registry(others),
    )
    # In a thread of its own, because whoever asks may be in one that has an event loop already.
    with ThreadPoolExecutor(max_workers=1) as thread:
        return thread.submit(asyncio.run, signer.async_sign(digest, "sha256", use_pades=True)).result()


def _registry(others: Iterable[asn1_x509.Certificate]) -> SimpleCertificateStore:
    kept = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    kept.register_multiple(others)
    return kept


def _gaps(content: bytes) -> Iterator[tuple[int, int, int]]:
    """Where a signature stands, between angle brackets, in what it covers, and where that ends; last first.

    Only a signature that covers all from the first byte to some point of the file, but itself.
    """
    found: Iterable[tuple[int, ...]] = (
        tuple(map(int, match.groups())) for match in reversed(list(RANGES.finditer(content)))
    )
    for first, start, end, length in found:
        after = end + length
        is_whole = first == 0 and 0 < start < end < after <= len(content)
        if is_whole and content[start : start + 1] == b"<" and content[end - 1 : end] == b">":
            yield start, end, after


def _looked_at(content: bytes, *, start: int, end: int, after: int) -> Signature:
    stands_there = bytes.fromhex(content[start + 1 : end - 1].decode("ascii"))
    info = cms.ContentInfo.load(stands_there)
    signed = info["content"]
    signer, certificate = extract_signer_info(signed), extract_certificate_info(signed).signer_cert
    digest = hashlib.new(_algorithm(signer))
    digest.update(memoryview(content)[:start])
    digest.update(memoryview(content)[end:after])
    is_same, is_signed = validate_sig_integrity(signer, certificate, "data", digest.digest())
    return Signature(
        by=_described(certificate),
        is_intact=is_same and is_signed and not stands_there[len(info.dump()) :].strip(b"\0"),
        # A line's end after the last %%EOF changes nothing.
        covers_whole_file=not content[after:].strip(b"\r\n"),
    )


def _algorithm(signer: cms.SignerInfo) -> str:
    name = str(signer["digest_algorithm"]["algorithm"].native)
    if name not in DIGESTS:
        raise ValueError(f"{name} is no digest to rely on")
    return name
