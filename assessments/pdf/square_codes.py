"""A QR code (ISO/IEC 18004) of an address, as a picture for a document."""

import io

import segno

PIXELS_A_MODULE = 8
QUIET_ZONE = 4  # modules, as the standard asks for


def square_code(address: str) -> bytes:
    """A PNG that a phone reads the address from; a quarter of it may be dirty (error correction level Q)."""
    out = io.BytesIO()
    code = segno.make(address, error="q", micro=False)
    code.save(out, kind="png", scale=PIXELS_A_MODULE, border=QUIET_ZONE)
    return out.getvalue()
