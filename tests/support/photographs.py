"""Photographs of codes, as a phone would take them of a label, a bin or a carton."""

from io import BytesIO

import numpy as np
import zxingcpp
from PIL import Image, ImageFilter, ImageOps

PHONE = (4032, 3024)  # pixels of a common phone camera


def symbol(content: str, form: str = "QRCode", *, module: int = 8, gs1: bool = False) -> Image.Image:
    """One code with its quiet zone; ``gs1``: its content is element strings with brackets, as printed for people."""
    code = zxingcpp.create_barcode(content, zxingcpp.barcode_format_from_str(form), gs1=gs1)
    return ImageOps.expand(Image.fromarray(np.array(code.to_image(scale=module))).convert("L"), 8 * module, 255)


def photograph(*things: Image.Image, size: tuple[int, int] = (1600, 1200), turned: float = 0, noise: int = 0,
               dim: bool = False, exif: int = 1) -> bytes:  # fmt: skip
    """A JPEG of things beside each other on a grey table.

    Args:
        things: pictures of labels or codes.
        size: pixels of the photograph.
        turned: degrees by which each thing lies turned.
        noise: greatest error of a pixel, out of 255.
        dim: taken by a lamp, so that white is a middle grey, and slightly out of focus.
        exif: how the camera was held, as cameras write it (Exif tag Orientation).
    """
    table = Image.new("L", size, 110)
    for place, thing in enumerate(things):
        lying = thing.convert("L").rotate(turned, expand=True, fillcolor=110, resample=Image.Resampling.BICUBIC)
        room = (size[0] // len(things), size[1])
        table.paste(lying, (place * room[0] + (room[0] - lying.width) // 2, (room[1] - lying.height) // 2))
    if dim:
        table = table.point(lambda grey: grey * 0.45 + 12).filter(ImageFilter.GaussianBlur(1.5))
    grains = np.random.default_rng(7).integers(-noise, noise + 1, (size[1], size[0])) if noise else 0
    points = np.clip(np.asarray(table, dtype=np.int16) + grains, 0, 255).astype(np.uint8)
    tags = Image.Exif()
    tags[0x0112] = exif
    file = BytesIO()
    Image.fromarray(points).convert("RGB").save(file, "JPEG", quality=85, exif=tags)
    return file.getvalue()
