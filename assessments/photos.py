"""Pictures as evidence: checked by content, limited in size, stripped of what they tell besides."""

import hashlib
import io
import re
import struct
import warnings
from dataclasses import dataclass
from datetime import datetime

from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from academy.refusals import Refused

LARGEST_BYTES = 12 * 1024 * 1024
LARGEST_PIXELS = 40_000_000
LONGEST_SIDE = 2400
ACCEPTED = ("JPEG", "PNG", "WEBP")
JPEG_QUALITY = 88
CREDIBLE_YEARS = range(1990, 9000)
OFFSET = re.compile(r"[+-][0-9]{2}:[0-9]{2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class CleanPhoto:
    """A JPEG without metadata, and the digests of what came, of its pixels and of what is kept.

    ``taken_at`` is what the camera's clock said, if it said anything; naive where it named no offset.
    """

    content: bytes
    sha256: str
    received_sha256: str
    pixels_sha256: str
    taken_at: datetime | None
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
        taken_at = _taken_at(image)
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise Refused(
            "This file isn't a photo that can be read. Use JPEG, PNG or WebP.", field="photo"
        ) from error
    pixels_sha256 = _pixels(upright)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    return _encoded(upright, received=content, pixels_sha256=pixels_sha256, taken_at=taken_at)


def _taken_at(image: Image.Image) -> datetime | None:
    """The time of the exposure (Exif 3.0: DateTimeOriginal, with its offset where there is one)."""
    try:
        details = image.getexif().get_ifd(ExifTags.IFD.Exif)
        text = str(details.get(ExifTags.Base.DateTimeOriginal, "")).strip("\0 ")
        offset = str(details.get(ExifTags.Base.OffsetTimeOriginal, "")).strip("\0 ")
        form = "%Y:%m:%d %H:%M:%S"
        if OFFSET.fullmatch(offset):
            taken_at = datetime.strptime(f"{text} {offset}", f"{form} %z")
        else:
            taken_at = datetime.strptime(text, form)  # noqa: DTZ007 - the caller knows whose clock it was
    except (ValueError, SyntaxError, OSError, KeyError, TypeError, struct.error):
        return None  # metadata that can't be read tell nothing, and spoil no picture
    return taken_at if taken_at.year in CREDIBLE_YEARS else None


def _pixels(image: Image.Image) -> str:
    """A digest of the picture itself: the same for a copy in another format that loses nothing."""
    size = f"{image.width}x{image.height} ".encode()
    return hashlib.sha256(size + image.tobytes()).hexdigest()


def _encoded(
    image: Image.Image, *, received: bytes, pixels_sha256: str, taken_at: datetime | None
) -> CleanPhoto:
    bare = Image.new("RGB", image.size)
    bare.paste(image)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=JPEG_QUALITY)
    kept = out.getvalue()
    return CleanPhoto(
        content=kept,
        sha256=hashlib.sha256(kept).hexdigest(),
        received_sha256=hashlib.sha256(received).hexdigest(),
        pixels_sha256=pixels_sha256,
        taken_at=taken_at,
        width=bare.width,
        height=bare.height,
    )
