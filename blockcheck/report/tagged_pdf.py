"""PDF pages that a screen reader can read: every piece of content says what it is.

Marked content with a structure tree, as ISO 32000-1, 14.7 and 14.8, asks for.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFString
from reportlab.pdfgen.canvas import Canvas

from ..files import write_whole


@contextmanager
def pages(path: str | Path, width: float, height: float, title: str) -> Iterator[TaggedCanvas]:
    """A canvas for the pages of a PDF, which is written whole when all are drawn."""
    written = io.BytesIO()
    canvas = TaggedCanvas(written, width, height, title)
    yield canvas
    canvas.save()
    write_whole(Path(path), written.getvalue())


class TaggedCanvas(Canvas):  # type: ignore[misc] # ReportLab has no types
    """A canvas that keeps what each piece of its content is.

    Parameters
    ----------
    file : binary file
        Where the pages are written.
    width, height : float
        Of a page, in points.
    title : str
    """

    def __init__(self, file: BinaryIO, width: float, height: float, title: str) -> None:
        super().__init__(file, pagesize=(width, height), invariant=1, lang="en")
        self.setTitle(title)
        self.setAuthor("blockcheck")
        self.setCreator("blockcheck")
        self.setSubject(title)
        self.setViewerPreference("DisplayDocTitle", "true")
        self._root = PDFDictionary({"Type": PDFName("StructTreeRoot")})
        self._document = PDFDictionary(
            {"Type": PDFName("StructElem"), "S": PDFName("Document"), "P": self._ref(self._root)}
        )
        self._elements: list[Any] = []
        self._parents: list[Any] = []  # page by page, the elements in the order of their marks
        self._here: list[Any] = []

    @contextmanager
    def marked(self, kind: str, alt: str = "") -> Iterator[None]:
        """Content of a standard type ("H1", "P", "Figure"), with words for what is drawn."""
        what = {
            "Type": PDFName("StructElem"),
            "S": PDFName(kind),
            "P": self._ref(self._document),
            "Pg": self._doc.thisPageRef(),
            "K": len(self._here),
        }
        if alt:
            what["Alt"] = PDFString(alt)
        element = self._ref(PDFDictionary(what))
        self._code.append(f"/{kind} <</MCID {len(self._here)}>> BDC")
        yield
        self._code.append("EMC")
        self._elements.append(element)
        self._here.append(element)

    @contextmanager
    def decoration(self) -> Iterator[None]:
        """Content that says nothing: frames, boxes."""
        self._code.append("/Artifact BMC")
        yield
        self._code.append("EMC")

    def showPage(self) -> None:
        """End the page."""
        super().showPage()
        page = self._doc.Pages.pages[-1]
        page = getattr(page, "_object", page)
        page.StructParents = len(self._parents)
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents"]
        self._parents.append(self._ref(PDFArray(self._here)))
        self._here = []

    def save(self) -> None:
        """Write the file with its structure tree."""
        nums = [one for i, found in enumerate(self._parents) for one in (i, found)]
        self._document.dict["K"] = PDFArray(self._elements)
        self._root.dict |= {
            "K": PDFArray([self._ref(self._document)]),
            "ParentTree": PDFDictionary({"Nums": PDFArray(nums)}),
            "ParentTreeNextKey": len(self._parents),
        }
        catalog = self._doc.Catalog
        catalog.StructTreeRoot = self._root
        catalog.MarkInfo = PDFDictionary({"Marked": "true"})
        super().save()

    def _ref(self, thing: Any) -> Any:
        return self._doc.Reference(thing)
