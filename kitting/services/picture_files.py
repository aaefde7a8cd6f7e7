"""Photographs and drawings as they are sent: known by their content, made small, without what a camera writes in them.

A camera writes place, time and its own number beside the picture (Exif, CIPA DC-008). The picture is drawn anew from
its points alone, so nothing of that is kept.
"""

import hashlib
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps, UnidentifiedImageError

from kitting.errors import Refusal
from kitting.models.pictures import JPEG, PDF, PNG

LARGEST_FILE = 25_000_000  # bytes
MOST_PIXELS = 50_000_000
LONGEST_SIDE, SMALL_SIDE = 2_000, 320  # pixels of what is kept, and of the same to look over
_QUALITY, _SMALL_QUALITY = 80, 70
_MEGA = 1_000_000
_STRIP = 1_000_000  # pixels of a picture that are made plain at a time
# ISO 32000-1, 7.5.2 and 7.5.5: how a PDF begins and ends; readers look this far for both.
_PDF_HEAD, _PDF_TAIL, _LOOK = b"%PDF-", b"%%EOF", 1024
_HEIC = (b"heic", b"heix", b"heif", b"mif1")  # brands of ISO/IEC 23008-12, after ``ftyp``


@dataclass(frozen=True, slots=True)
class PictureFile:
    """What is kept of a file: its content, and the same to look over, b"" for a PDF."""

    media_type: str
    content: bytes
    small: bytes

    @property
    def digest(self) -> str:
        """SHA-256 over the content."""
        return hashlib.sha256(self.content).hexdigest()


def check_size(name: str, size: int) -> None:
    """Refuse a file before it is read.

    Raises:
        Refusal: ``picture-too-large``; ``no-picture``: it is empty.
    """
    if size > LARGEST_FILE:
        message = (
            f"TOO LARGE: {name} holds {size / _MEGA:.1f} MB; {LARGEST_FILE // _MEGA} MB are the most. "
            "Take it with fewer pixels, or send a part of it."
        )
        raise Refusal("picture-too-large", message, {"bytes": size, "most": LARGEST_FILE})
    if not size:
        raise Refusal("no-picture", f"NO PICTURE: {name} is empty.", {"file": name})


def read_picture(name: str, sent: bytes, *, drawings: bool = False) -> PictureFile:
    """A picture as it is kept: at most 2000 pixels long, upright, with nothing but its points.

    Args:
        name: what the sender calls the file; its content decides what it is.
        sent: the file.
        drawings: whether a PDF will do as well; it is kept as it is.

    Raises:
        Refusal: ``picture-too-large``; ``picture-unreadable``: neither JPEG nor PNG, cut off or damaged;
            ``too-many-pixels``.
    """
    check_size(name, len(sent))
    if drawings and _PDF_HEAD in sent[:_LOOK] and _PDF_TAIL in sent[-_LOOK:]:
        return PictureFile(PDF, sent, b"")
    plain, form = upright_points(name, sent, longest=LONGEST_SIDE, drawings=drawings)
    photograph = _written(plain, "JPEG", quality=_QUALITY)
    drawing = _written(plain, "PNG", optimize=True) if form == PNG else b""
    small = plain.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE), Image.Resampling.LANCZOS)
    look = _written(small, "JPEG", quality=_SMALL_QUALITY)
    if drawing and len(drawing) <= len(photograph):  # lines are smaller and sharper so, photographs are not
        return PictureFile(PNG, drawing, look)
    return PictureFile(JPEG, photograph, look)


def upright_points(
    name: str, sent: bytes, *, longest: int, drawings: bool = False, grey: bool = False
) -> tuple[Image.Image, str]:
    """The points of a picture, upright, at most so many on its longest side, and what by its content the file is.

    The largest takes about five bytes of memory for each pixel: four as it is read, and its plain points.

    Raises:
        Refusal: ``picture-too-large``, ``picture-unreadable``, ``too-many-pixels``.
    """
    check_size(name, len(sent))
    try:
        with Image.open(BytesIO(sent), formats=("JPEG", "PNG")) as image:
            _check_pixels(name, *image.size)
            form = PNG if image.format == "PNG" else JPEG
            factor = max(max(image.size) // longest, 1)
            if form == JPEG:
                across, down = image.size
                image.draft("L" if grey else None, (across // factor, down // factor))  # JPEG reads itself smaller
                factor = max(max(image.size) // longest, 1)
            plain = ImageOps.exif_transpose(_reduced(image, factor, "L" if grey else _plain_mode(image)))
            plain.info = {}
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many_pixels(name, "more") from None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise _unreadable(name, sent, error, drawings=drawings) from None
    plain.thumbnail((longest, longest), Image.Resampling.LANCZOS)
    return plain, form


def _check_pixels(name: str, across: int, down: int) -> None:
    if across * down > MOST_PIXELS:
        raise _too_many_pixels(name, f"{across} by {down}")


def _too_many_pixels(name: str, told: str) -> Refusal:
    message = f"TOO LARGE: {name} has {told} pixels; {MOST_PIXELS // _MEGA} million are the most. Take it with fewer."
    return Refusal("too-many-pixels", message, {"most": MOST_PIXELS})


def _reduced(image: Image.Image, factor: int, mode: str) -> Image.Image:
    """The plain points of a picture, so many to a side made one: strip by strip, so that it is never held twice."""
    image.load()
    width, height = image.size
    reduced = Image.new(mode, (-(-width // factor), -(-height // factor)))
    rows = max(_STRIP // (width * factor), 1) * factor
    for top in range(0, height, rows):
        strip = _plain(image.crop((0, top, width, min(top + rows, height))))
        reduced.paste(strip.convert(mode).reduce(factor), (0, top // factor))
    reduced.info = {about: told for about, told in image.info.items() if about != "transparency"}  # which side is up
    return reduced


def _plain_mode(image: Image.Image) -> str:
    is_grey = image.mode in ("1", "L") or image.mode.startswith("I")
    return "L" if is_grey and not image.has_transparency_data else "RGB"


def _plain(image: Image.Image) -> Image.Image:
    """The points of a picture on white, in grey or colour."""
    if image.has_transparency_data:
        clear = image.convert("RGBA")
        plain = Image.new("RGB", clear.size, "white")
        plain.paste(clear, mask=clear.getchannel("A"))
    elif image.mode.startswith("I"):  # grey in 16 bits
        plain = image.convert("I").point(lambda grey: grey * (1 / 256)).convert("L")
    else:
        plain = image.convert("L" if image.mode in ("1", "L") else "RGB")
    return plain


def _written(image: Image.Image, form: str, **options: object) -> bytes:
    file = BytesIO()
    image.save(file, form, **options)
    return file.getvalue()


def _unreadable(name: str, sent: bytes, error: Exception, *, drawings: bool) -> Refusal:
    wanted = "a JPEG or PNG picture, or a PDF" if drawings else "a JPEG or PNG picture"
    if sent[4:8] == b"ftyp" and sent[8:12] in _HEIC:
        told = f"{name} is a HEIC picture. Set the camera to JPEG, or send a copy as JPEG"
    elif isinstance(error, UnidentifiedImageError):
        told = f"by its content {name} is not {wanted}, whatever it is called"
    else:
        told = f"{name} is cut off or damaged. Take it again, or send another copy"
    return Refusal("picture-unreadable", f"NOT A PICTURE: {told}.", {"file": name})
