"""Signing a PDF, and what a look at the signature tells, by itself and by others' eyes."""

import io
import subprocess
from datetime import UTC, datetime, timedelta

import pytest
from asn1crypto import keys, pem
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from hypothesis import given
from hypothesis import strategies as st
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.signers import PdfSignatureMetadata, SimpleSigner, sign_pdf
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.registry import SimpleCertificateStore

from assessments.pdf.document import Document, pdf_of
from assessments.pdf.signature import KeyUnusable, SigningKey, read_key, self_signed, sign, verify

AT = datetime(2025, 3, 3, 14, 5, tzinfo=UTC)
OWN = self_signed(name="Makepoint, https://makepoint.example", at=AT)
KEY = read_key(key=OWN, certificates=OWN)


@pytest.fixture(scope="module")
def unsigned(pango) -> bytes:
    return pdf_of(
        Document(
            html="<!doctype html><html lang='en-GB'><body><h1>Evidence</h1><p>2.40 mbar</p></body></html>",
            title="Portfolio of evidence",
            author="Marrowfen Gas Skills Workshop",
            language="en-GB",
            issued_at=AT,
            attachments={"record.json": b"{}"},
        )
    )


@pytest.fixture(scope="module")
def signed(unsigned) -> bytes:
    return sign(content=unsigned, key=KEY, reason="Issued", at=AT)


def changed(content: bytes, place: int) -> bytes:
    return content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]


def pem_of(private, *, passphrase: bytes = b"") -> bytes:
    way = serialization.BestAvailableEncryption(passphrase) if passphrase else serialization.NoEncryption()
    return private.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, way)


def certificate_for(private, *, by=None, name: str = "A centre", issuer: str = "") -> bytes:
    def named(text: str) -> x509.Name:
        return x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, text)])

    made = (
        x509.CertificateBuilder()
        .subject_name(named(name))
        .issuer_name(named(issuer or name))
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(AT - timedelta(days=1))
        .not_valid_after(AT + timedelta(days=1))
    )
    return made.sign(by or private, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)


def test_what_is_signed_stays_as_it_was_at_the_files_beginning(unsigned, signed):
    assert signed.startswith(unsigned) and len(signed) > len(unsigned)


def test_a_signature_is_intact_says_by_whom_and_covers_the_whole_file(signed):
    found = verify(content=signed)

    assert found.is_intact and found.covers_whole_file
    assert found.by == KEY.certificate
    assert found.by.name == "Makepoint, https://makepoint.example"
    assert found.by.is_self_signed


def test_an_unsigned_file_has_no_signature(unsigned):
    assert verify(content=unsigned) is None


def test_a_changed_byte_anywhere_is_found(unsigned, signed):
    places = [*range(10, len(unsigned), 97), *range(len(unsigned), len(signed), 97), len(signed) - 8]
    for place in places:
        found = verify(content=changed(signed, place))
        assert found is None or not (found.is_intact and found.covers_whole_file), place


def test_what_is_added_after_signing_is_not_covered(signed):
    found = verify(content=signed + b"1 0 obj\n<<>>\nendobj\n%%EOF\n")

    assert found.is_intact and not found.covers_whole_file


def test_a_line_end_more_changes_nothing(signed):
    assert verify(content=signed + b"\r\n").covers_whole_file


def test_of_two_signatures_the_last_is_looked_at(signed):
    other = self_signed(name="Somebody else", at=AT)
    key = read_key(key=other, certificates=other)
    certificate = asn1_x509.Certificate.load(key.chain[0])
    signer = SimpleSigner(certificate, keys.PrivateKeyInfo.load(key.key), SimpleCertificateStore())
    again = sign_pdf(
        IncrementalPdfFileWriter(io.BytesIO(signed)), PdfSignatureMetadata(field_name="Second"), signer
    ).getvalue()

    assert verify(content=again).by.name == "Somebody else"
    assert verify(content=again).is_intact and verify(content=again).covers_whole_file
    assert verify(content=again[: len(signed)]).by == KEY.certificate


def test_a_signature_lifted_from_another_document_does_not_hold(unsigned, signed):
    grafted = changed(unsigned, 300) + signed[len(unsigned) :]

    assert not verify(content=grafted).is_intact


@given(
    st.binary(max_size=400), st.integers(0, 3), st.integers(0, 400), st.integers(0, 400), st.integers(0, 400)
)
def test_whatever_is_sent_is_no_more_than_no_signature(junk, first, start, end, length):
    ranges = b"/ByteRange [%d %d %d %d]" % (first, start, end, length)

    assert verify(content=junk + ranges + junk) is None


@given(st.binary(max_size=200))
def test_junk_where_a_signature_should_be_is_none(junk):
    text = b"<" + junk.hex().encode() + b">"
    head = b"%PDF-1.7 /ByteRange [0 0040 0000 0001] ".ljust(40)
    end = len(head) + len(text)
    head = (b"%%PDF-1.7 /ByteRange [0 0040 %04d 0001] " % end).ljust(40)

    assert verify(content=head + text + b"\n") is None


def test_another_validator_finds_it_intact_and_trusts_whom_it_is_told_to(signed):
    trusted = asn1_x509.Certificate.load(KEY.chain[0])
    context = ValidationContext(trust_roots=[trusted], moment=AT, allow_fetching=False)
    (embedded,) = PdfFileReader(io.BytesIO(signed)).embedded_signatures

    status = validate_pdf_signature(embedded, context)

    assert status.intact and status.valid and status.trusted
    assert status.coverage.name == "ENTIRE_FILE"
    assert embedded.self_reported_timestamp == AT
    assert embedded.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"


def test_another_validator_finds_the_changed_byte(unsigned, signed):
    (embedded,) = PdfFileReader(io.BytesIO(changed(signed, 600)), strict=False).embedded_signatures

    trusted = asn1_x509.Certificate.load(KEY.chain[0])
    context = ValidationContext(trust_roots=[trusted], moment=AT, allow_fetching=False)

    assert not validate_pdf_signature(embedded, context).intact


def test_a_third_one_says_that_the_total_document_is_signed(poppler, signed, tmp_path):
    (tmp_path / "signed.pdf").write_bytes(signed)

    said = subprocess.run(
        ["pdfsig", "-nocert", tmp_path / "signed.pdf"], capture_output=True, text=True, check=True
    ).stdout

    assert "Signature is Valid" in said
    assert "Total document signed" in said
    assert "Signing Hash Algorithm: SHA-256" in said


def test_nothing_on_a_page_shows_it(signed):
    (embedded,) = PdfFileReader(io.BytesIO(signed)).embedded_signatures

    assert [float(each) for each in embedded.sig_field["/Rect"]] == [0, 0, 0, 0]
    assert "/AP" not in embedded.sig_field
    assert int(embedded.sig_field["/F"]) & 4  # is printed: PDF/A allows no annotation that isn't


def test_an_rsa_key_with_the_certificate_of_an_authority_signs_too(unsigned):
    authority, own = ec.generate_private_key(ec.SECP256R1()), rsa.generate_private_key(65537, 2048)
    chain = certificate_for(own, by=authority, issuer="An authority") + certificate_for(
        authority, name="An authority"
    )

    key = read_key(key=pem_of(own, passphrase=b"opens it"), certificates=chain, passphrase="opens it")
    found = verify(content=sign(content=unsigned, key=key, reason="Issued", at=AT))

    assert found.is_intact and found.covers_whole_file
    assert found.by.name == "A centre" and not found.by.is_self_signed


def test_a_chain_of_three_large_keys_fits(unsigned):
    privates = [rsa.generate_private_key(65537, 4096) for _ in range(3)]
    chain = b"".join(
        certificate_for(each, name=f"Number {number}") for number, each in enumerate(privates, start=1)
    )

    key = read_key(key=pem_of(privates[0]), certificates=chain)

    assert verify(content=sign(content=unsigned, key=key, reason="Issued", at=AT)).is_intact


ODD = rsa.generate_private_key(65537, 1024)  # noqa: S505 (to be refused)
OTHER = ec.generate_private_key(ec.SECP256R1())


@pytest.mark.parametrize(
    ("key", "certificates", "why"),
    [
        (b"no key", OWN, "in PEM that opens so"),
        (OWN, b"no certificate", "in PEM that opens so"),
        (pem_of(OTHER, passphrase=b"another"), certificate_for(OTHER), "in PEM that opens so"),
        (pem_of(ODD), certificate_for(ODD), "neither ECDSA on P-256 nor RSA with 2048 bits"),
        (pem_of(ed25519.Ed25519PrivateKey.generate()), OWN, "neither ECDSA on P-256"),
        (pem_of(ec.generate_private_key(ec.SECP384R1())), OWN, "neither ECDSA on P-256"),
        (pem_of(OTHER), OWN, "isn’t that of the key"),
    ],
)
def test_a_key_that_will_not_do_is_refused_with_its_reason(key, certificates, why):
    with pytest.raises(KeyUnusable, match=why) as refused:
        read_key(key=key, certificates=certificates)
    assert "\n" not in str(refused.value)


def test_a_key_made_here_is_valid_for_ten_years_and_signs_nothing_else():
    certificate = x509.load_pem_x509_certificate(OWN[OWN.index(b"-----BEGIN CERT") :])

    assert certificate.not_valid_before_utc < AT < certificate.not_valid_after_utc
    assert (certificate.not_valid_after_utc - AT).days == 3653
    assert not certificate.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    usage = certificate.extensions.get_extension_for_class(x509.KeyUsage).value
    assert usage.digital_signature and not usage.key_cert_sign
    assert pem.detect(OWN)


def test_a_long_name_is_cut_to_what_a_certificate_holds():
    made = self_signed(name="x" * 90, at=AT)

    assert read_key(key=made, certificates=made).certificate.name == "x" * 64


def test_a_key_does_not_give_itself_away_by_accident():
    assert isinstance(KEY, SigningKey)
    assert KEY.key.hex() not in repr(KEY) and "PRIVATE" not in repr(KEY)
    assert repr(KEY.key) not in repr(KEY)
