"""Pictures as evidence: checked by content, limited in size, stripped of what they tell besides."""

import hashlib
import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError

from academy.refusals import Refused

LARGEST_BYTES = 12 * 1024 * 1024
LARGEST_PIXELS = 40_000_000
LONGEST_SIDE = 2400
ACCEPTED = ("JPEG", "PNG", "WEBP")
JPEG_QUALITY = 88


@dataclass(frozen=True, slots=True, kw_only=True)
class CleanPhoto:
    """A JPEG without metadata, and the digests of what came and of what is kept."""

    content: bytes
    sha256: str
    received_sha256: str
    width: int
    height: int


def clean(content: bytes) -> CleanPhoto:
    """Re-encode a picture upright, without location or any other metadata.

    Refused, in the user's words, for what isn't a picture whatever its name says, and for one that is too
    large to handle; the size is read before the pixels are.
    """
    if len(content) > LARGEST_BYTES:
        raise Refused(
            f"This photo is larger than {LARGEST_BYTES // 1024 // 1024} MB. Take a smaller one.",
            field="photo",
        )
    try:
        with warnings.catch_warnings():
            # The size is checked right below, by our own limit and in our own words.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(content), formats=ACCEPTED)
        if image.width * image.height > LARGEST_PIXELS:
            raise Refused(
                f"This photo has more than {LARGEST_PIXELS // 1_000_000} million pixels. Take a smaller one.",
                field="photo",
            )
        upright = ImageOps.exif_transpose(image).convert("RGB")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise Refused(
            "This file isn't a photo that can be read. Use JPEG, PNG or WebP.", field="photo"
        ) from error
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    return _encoded(upright, received=content)


def _encoded(image: Image.Image, *, received: bytes) -> CleanPhoto:
    bare = Image.new("RGB", image.size)
    bare.paste(image)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=JPEG_QUALITY)
    kept = out.getvalue()
    return CleanPhoto(
        content=kept,
        sha256=hashlib.sha256(kept).hexdigest(),
        received_sha256=hashlib.sha256(received).hexdigest(),
        width=bare.width,
        height=bare.height,
    )
