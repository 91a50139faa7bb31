"""What was sent as a photo, read by its content and drawn anew: no position, no notes, nothing that could run.

The kind follows from the bytes, never from a name. Size and pixels are known before anything is decoded.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext as _
from PIL import Image, ImageOps

MOST_BYTES: Final = 12 * 1024 * 1024
MOST_PIXELS: Final = 52_000_000  # the largest that telephones make today is 50 million
LEAST_SIDE: Final = 64
LONG_SIDE: Final = 2048
SMALL_SIDE: Final = 400
QUALITY: Final = 85
KINDS: Final = ("JPEG", "PNG", "WEBP")
PHONE_KINDS: Final = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis")


class PictureRefused(ValueError):
    """A sentence for whoever sent it."""


@dataclass(frozen=True)
class Picture:
    """A photo as it is kept: JPEG bytes of it and of its small copy, size in pixels, digests of kept and sent bytes."""

    data: bytes
    small: bytes
    width: int
    height: int
    sha256: str
    sent_sha256: str


def picture(sent: bytes, *, total: int | None = None) -> Picture:
    """Read what was sent.

    Parameters
    ----------
    sent : the bytes, or their beginning where more were sent than are read
    total : how many bytes were sent, if more than these

    Raises
    ------
    PictureRefused
        Too large in bytes or pixels, too small, of another kind, or broken.
    """
    size = max(len(sent), total or 0)
    if size > MOST_BYTES:
        raise PictureRefused(
            _("The photo has %(size).1f MB; allowed is up to %(most)d MB.")
            % {"size": size / 1024 / 1024, "most": MOST_BYTES // 1024 // 1024}
        )
    _refuse_other_kinds(sent)
    with _opened(sent) as found:
        _refuse_sizes(found)
        if found.format == "JPEG":
            found.draft("RGB", (LONG_SIDE, LONG_SIDE))  # decodes no more of it than is kept
        drawn = _drawn(found)
    large, small = drawn.copy(), drawn
    large.thumbnail((LONG_SIDE, LONG_SIDE))
    small.thumbnail((SMALL_SIDE, SMALL_SIDE))
    data = _jpeg(large)
    return Picture(
        data=data,
        small=_jpeg(small),
        width=large.width,
        height=large.height,
        sha256=hashlib.sha256(data).hexdigest(),
        sent_sha256=hashlib.sha256(sent).hexdigest(),
    )


def _refuse_other_kinds(sent: bytes) -> None:
    if not sent:
        raise PictureRefused(_("The file is empty."))
    if sent[4:8] == b"ftyp" and sent[8:12] in PHONE_KINDS:
        raise PictureRefused(
            _(
                "This is a HEIC or AVIF photo, as some telephones make them; allowed are JPEG, PNG and WebP. "
                "Set the camera to its most compatible format, or send the photo as JPEG."
            )
        )
    is_known = sent[:3] == b"\xff\xd8\xff" or sent[:8] == b"\x89PNG\r\n\x1a\n" or sent[:4] + sent[8:12] == b"RIFFWEBP"
    if not is_known:
        raise PictureRefused(_("This file is no JPEG, PNG or WebP photo, whatever its name says; allowed are these."))


def _opened(sent: bytes) -> Image.Image:
    try:
        return Image.open(io.BytesIO(sent), formats=KINDS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as bomb:
        raise PictureRefused(_too_many_pixels(None)) from bomb
    except Exception as broken:  # a decoder may fail in any way on what is not a picture
        raise PictureRefused(_broken()) from broken


def _refuse_sizes(found: Image.Image) -> None:
    pixels = found.width * found.height
    if pixels > MOST_PIXELS:
        raise PictureRefused(_too_many_pixels(pixels))
    if min(found.size) < LEAST_SIDE:
        raise PictureRefused(
            _("The photo is %(width)s by %(height)s pixels; allowed is at least %(least)s each way.")
            % {"width": found.width, "height": found.height, "least": LEAST_SIDE}
        )


def _drawn(found: Image.Image) -> Image.Image:
    """Decoded, upright, on white where it was transparent; nothing of the sent file but its pixels."""
    try:
        found.load()
        upright = ImageOps.exif_transpose(found)
        if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
            layer = upright.convert("RGBA")
            sheet = Image.new("RGBA", layer.size, "white")
            sheet.alpha_composite(layer)
            upright = sheet
        plain = Image.new("RGB", upright.size)
        plain.paste(upright.convert("RGB"))
    except Exception as broken:  # as above
        raise PictureRefused(_broken()) from broken
    return plain


def _jpeg(drawn: Image.Image) -> bytes:
    written = io.BytesIO()
    drawn.save(written, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return written.getvalue()


def _too_many_pixels(pixels: int | None) -> str:
    if pixels is None:
        return _("The photo has far too many pixels; allowed are up to %(most)d million.") % {
            "most": MOST_PIXELS // 1_000_000
        }
    return _("The photo has %(pixels).0f million pixels; allowed are up to %(most)d million.") % {
        "pixels": pixels / 1_000_000,
        "most": MOST_PIXELS // 1_000_000,
    }


def _broken() -> str:
    return _("The photo cannot be read: it is broken or was sent only in part. Send it again.")
