"""One picture from whatever was sent: read by its content, upright, at most 2048 px, nothing left of the camera's data.

A picture is decoded and encoded anew, so what is stored is only its dots: no place, no time, no maker, no text, no
second file hidden behind the first.
"""

from __future__ import annotations

import io
import struct
import threading
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import BinaryIO

from django.utils import timezone
from PIL import ExifTags, Image, ImageCms, ImageFile, ImageOps, UnidentifiedImageError

MOST_BYTES = 40 * 1024 * 1024
MOST_DOTS = 50_000_000
LONGEST, LONGEST_OF_THUMB = 2048, 640
QUALITY, QUALITY_OF_THUMB = 82, 78
LONGEST_OF_SMALL, QUALITY_OF_SMALL = 256, 50
FORMATS = ("JPEG", "PNG", "WEBP")
EARLIEST_YEAR = 1995  # before that no camera wrote this down: what it says is an unset clock

# What the decoders raise about files that are cut off, damaged or made on purpose to break them.
_DECODER_ERRORS = (
    OSError,
    SyntaxError,
    ValueError,
    TypeError,
    ArithmeticError,
    LookupError,
    EOFError,
    AttributeError,
    RuntimeError,
    struct.error,
    zlib.error,
)

# One picture at a time in a process: a re-encode takes some 100 MB, and the workers' memory is bound by that.
_one_at_a_time = threading.Lock()


class Refused(Exception):
    """A file that can't be kept. The message is a sentence that says the limit it broke and what to do."""


@dataclass(frozen=True)
class Picture:
    """A re-encoded picture: bytes of both JPEGs, size in px, and when the camera says it was taken (if it does)."""

    jpeg: bytes
    thumb: bytes
    width: int
    height: int
    taken_at: datetime | None


def read_picture(file: BinaryIO) -> Picture:
    """Re-encode a JPEG, PNG or WEBP. Raises `Refused`. About 0.25 s for twelve million dots: never in a transaction."""
    with _one_at_a_time, _opened(file) as image:
        # The PDF library, once imported, lets cut-off pictures through for the whole process: their missing half
        # would be kept as grey. What is printed here are pictures that were read whole before.
        ImageFile.LOAD_TRUNCATED_IMAGES = False
        _refuse_too_many_dots(image.size)
        taken_at = _taken_at(image)
        try:
            upright = _upright_rgb(image)
        except MemoryError:
            raise Refused(_too_large("too large for this server's memory")) from None
        except _DECODER_ERRORS:
            raise Refused(
                "The picture is cut off or damaged: it can't be read to its end. Take it again, or send the "
                "original file."
            ) from None
        thumb = upright.copy()
        thumb.thumbnail((LONGEST_OF_THUMB, LONGEST_OF_THUMB))
        return Picture(
            _jpeg(upright, QUALITY), _jpeg(thumb, QUALITY_OF_THUMB), upright.width, upright.height, taken_at
        )


def small_of(jpeg: bytes) -> bytes:
    """A stored picture as a WEBP of at most 256 px, for lists: a tenth of a thumbnail's bytes, some 8 ms.

    Made when it is asked for, as a browser keeps it for a week. Raises OSError where the picture can't be read.
    """
    with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as image:
        image.draft("RGB", (LONGEST_OF_SMALL, LONGEST_OF_SMALL))
        image.thumbnail((LONGEST_OF_SMALL, LONGEST_OF_SMALL))
        out = io.BytesIO()
        image.convert("RGB").save(out, "WEBP", quality=QUALITY_OF_SMALL)
    return out.getvalue()


def taken_at_of_head(file: BinaryIO) -> datetime | None:
    """When the camera says it took a picture of which only the beginning is given; None where it does not say."""
    try:
        with _opened(file) as image:
            return _taken_at(image)
    except Refused:
        return None


@contextmanager
def _opened(file: BinaryIO) -> Iterator[Image.Image]:
    file.seek(0)
    try:
        image = Image.open(file, formats=FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise Refused(_too_large("above the limit")) from None
    except (UnidentifiedImageError, *_DECODER_ERRORS):
        raise Refused(
            "This is not a picture that can be kept: JPEG, PNG and WEBP are. Send it as one of these, or take a "
            "photo of it."
        ) from None
    try:
        yield image
    finally:
        image.close()


def _refuse_too_many_dots(size: tuple[int, int]) -> None:
    width, height = size
    if width * height > MOST_DOTS:
        raise Refused(_too_large(f"{width} × {height} dots"))


def _too_large(what: str) -> str:
    return (
        f"The picture is {what}; {MOST_DOTS // 1_000_000} million dots are the limit. Set the camera to smaller "
        "pictures, or scale it down first."
    )


def _upright_rgb(image: Image.Image) -> Image.Image:
    """A new picture of the dots alone, turned as the camera was held, in sRGB on white."""
    profile = image.info.get("icc_profile")
    image.draft("RGB", (LONGEST, LONGEST))  # a JPEG can be decoded at half its size: less memory
    image.load()
    if image.mode.startswith("I"):
        image = image.point(lambda value: value / 256).convert("L")  # 16 bits a dot, which JPEG can't hold
    if image.mode == "P" or "transparency" in image.info:
        image = image.convert("RGBA")
    # Scaled before it is turned: the smaller one takes less memory.
    image.thumbnail((LONGEST, LONGEST))
    image = ImageOps.exif_transpose(image)
    image = _in_srgb(image, profile)
    fresh = Image.new("RGB", image.size, "white")
    if image.mode in ("RGBA", "LA"):
        fresh.paste(image.convert("RGB"), mask=image.getchannel("A"))
    else:
        fresh.paste(image.convert("RGB"))
    return fresh


def _in_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Colours of a camera with its own profile, as a browser without that profile shows them."""
    if not profile or image.mode not in ("RGB", "CMYK"):
        return image
    try:
        return ImageCms.profileToProfile(
            image,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, *_DECODER_ERRORS):
        return image


def _jpeg(image: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


def _taken_at(image: Image.Image) -> datetime | None:
    """DateTimeOriginal with its offset (Exif 2.32, CIPA DC-008: tags 0x9003 and 0x9011); without one, the shop's time."""
    try:
        told = image.getexif().get_ifd(ExifTags.IFD.Exif)
        text, offset = told.get(ExifTags.Base.DateTimeOriginal), told.get(ExifTags.Base.OffsetTimeOriginal)
        # Without a zone by the standard; it gets one two lines on.
        taken = datetime.strptime(str(text).strip("\x00 "), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
        if taken.year < EARLIEST_YEAR:
            return None
        zone = _zone(str(offset or ""))
        return taken.replace(tzinfo=zone) if zone else timezone.make_aware(taken)
    except _DECODER_ERRORS:
        return None


def _zone(offset: str):
    """The zone of "+02:00"; None where it is no such thing."""
    try:
        return datetime.strptime(offset.strip("\x00 "), "%z").tzinfo
    except ValueError:
        return None


def believed(taken_at: datetime | None, made_at: datetime) -> datetime | None:
    """A camera's time, where it can be true: not after the picture was sent. A fast clock is let off two minutes."""
    if taken_at is None or taken_at > made_at + timedelta(minutes=2):
        return None
    return min(taken_at, made_at)
