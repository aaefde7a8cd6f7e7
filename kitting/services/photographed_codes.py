"""Codes in a photograph, as a scanner would have sent them: our own labels, and the GS1 symbols of makers' cartons.

Which symbol holds GS1 element strings is told by its symbology identifier (ISO/IEC 15424; those that are read stand in
``carton_codes``): it is put before the text, as a scanner does that is set to send it. The picture is not kept.
"""

from dataclasses import dataclass

import zxingcpp
from PIL import Image

from kitting.calculation.carton_codes import is_carton
from kitting.services.picture_files import upright_points

# What labels and cartons of this trade carry (common practice); others beside them would only be asked about.
_FORMATS = zxingcpp.barcode_formats_from_str("DataMatrix,QRCode,Code128,DataBar")
_LONGEST_SIDE = 4_000  # pixels: a small code in a large picture keeps its modules


@dataclass(frozen=True, slots=True)
class PhotographedCode:
    """A code of a picture: ``text`` as a scanner sends it, ``words`` the same for people."""

    text: str
    words: str


def codes_in(name: str, sent: bytes) -> list[PhotographedCode]:
    """Every code that can be read in a picture, each once; what no field could take, such as several lines, is left.

    Raises:
        Refusal: what ``upright_points`` refuses.
    """
    points, _ = upright_points(name, sent, longest=_LONGEST_SIDE, grey=True)
    found = {one.text: one for one in map(_as_scanned, _read(points)) if one.words.isprintable()}
    return [found[text] for text in sorted(found) if text]


def _read(grey: Image.Image) -> list[zxingcpp.Barcode]:
    """The codes; where none is read, those of the picture at a quarter of its points, which takes noise out."""
    return zxingcpp.read_barcodes(grey, formats=_FORMATS) or zxingcpp.read_barcodes(grey.reduce(2), formats=_FORMATS)


def _as_scanned(code: zxingcpp.Barcode) -> PhotographedCode:
    scanned = f"{code.symbology_identifier}{code.bytes.decode('latin-1')}"
    if is_carton(scanned):
        return PhotographedCode(scanned, code.text)  # with its fields in brackets
    return PhotographedCode(code.text, code.text)
