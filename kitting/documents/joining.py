"""Several papers in one file, in the order in which they are to come out of the printer."""

from collections.abc import Sequence
from io import BytesIO

import pypdfium2

from kitting.documents.label_pictures import ONE_AT_A_TIME


def joined(papers: Sequence[bytes]) -> bytes:
    """The pages of several PDFs as one."""
    file = BytesIO()
    with ONE_AT_A_TIME, pypdfium2.PdfDocument.new() as whole:
        for paper in papers:
            with pypdfium2.PdfDocument(paper) as one:
                whole.import_pages(one)
        whole.save(file)
    return file.getvalue()
