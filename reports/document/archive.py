"""From a drawn paper to a file for the archive: PDF/A-3b (ISO 19005-3) with the data embedded, before it is signed.

The same drawing and data give the same bytes. What the drawing must bring: all fonts embedded, no encryption.
"""

from datetime import datetime
from functools import cache
from io import BytesIO
from typing import Final
from xml.sax.saxutils import escape

import pikepdf
from pikepdf import Array, AttachedFileSpec, Dictionary, Name, Pdf
from PIL import ImageCms

from diagnostics.engine.words import _
from reports.document.languages import ENGLISH, speaking_in

XMP: Final = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:pdf="http://ns.adobe.com/pdf/1.3/" \
xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
<pdfaid:part>3</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance>
<dc:format>application/pdf</dc:format>
<dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
<pdf:Producer>{producer}</pdf:Producer><xmp:CreatorTool>{creator}</xmp:CreatorTool>
<xmp:CreateDate>{at}</xmp:CreateDate><xmp:ModifyDate>{at}</xmp:ModifyDate>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="w"?>"""
"""Written out, not by the library's editor: the same bytes each time, and nothing that the archive's rules do not know.
"""


def archived(drawn: bytes, data: bytes, *, name: str, at: datetime, language: str = ENGLISH) -> bytes:
    """`drawn` with colour profile, metadata and `data` (JSON) embedded as file `name`; `at`: when both were made;
    `language`: what the words are in."""
    with speaking_in(language), Pdf.open(BytesIO(drawn)) as pdf:
        _embed(pdf, data, name, at)
        for page in pdf.pages:
            if "/Trans" in page:
                del page["/Trans"]  # how a slide would come; the drawing library writes an empty one
        _colours(pdf)
        _metadata(pdf, at, language)
        out = BytesIO()
        # Tables of objects as plain text, so that any reader and any signer can go on from them.
        pdf.save(
            out,
            min_version="1.7",
            deterministic_id=True,
            object_stream_mode=pikepdf.ObjectStreamMode.disable,
        )
    return out.getvalue()


def embedded(pdf: bytes, name: str) -> bytes:
    """The data that `archived` embedded as `name`; KeyError where there is none."""
    with Pdf.open(BytesIO(pdf)) as opened:
        return opened.attachments[name].get_file().read_bytes()


def _embed(pdf: Pdf, data: bytes, name: str, at: datetime) -> None:
    spec = AttachedFileSpec(
        pdf,
        data,
        description=_("What this certificate says, as data"),
        filename=name,
        mime_type="application/json",
        creation_date=_pdf_date(at),
        mod_date=_pdf_date(at),
        relationship=Name.Data,
    )
    pdf.attachments[name] = spec
    pdf.Root.AF = Array([spec.obj])


@cache
def _profile() -> bytes:
    """The profile of sRGB, with its year of making taken out: the same bytes each time."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[24:36] = b"\x07\xd0\x00\x01\x00\x01" + b"\x00" * 6  # its date and time: 2000-01-01
    profile[84:100] = b"\x00" * 16  # its digest, which counts the date; none is allowed
    return bytes(profile)


def _colours(pdf: Pdf) -> None:
    profile = pdf.make_stream(_profile(), N=3)
    intent = Dictionary(
        Type=Name.OutputIntent,
        S=Name.GTS_PDFA1,
        OutputConditionIdentifier="sRGB IEC61966-2.1",
        Info="sRGB IEC61966-2.1",
        DestOutputProfile=profile,
    )
    pdf.Root.OutputIntents = Array([pdf.make_indirect(intent)])


def _metadata(pdf: Pdf, at: datetime, language: str) -> None:
    """The same in the file's own table and in XMP, as the archive's rules ask."""
    info = pdf.docinfo
    info["/CreationDate"] = info["/ModDate"] = _pdf_date(at)
    info["/Producer"] = "Topwright"
    for key in [str(one) for one in info if one not in _KEPT]:
        del info[key]
    words = {
        "title": str(info.get("/Title", "")),
        "author": str(info.get("/Author", "")),
        "subject": str(info.get("/Subject", "")),
        "producer": str(info["/Producer"]),
        "creator": str(info.get("/Creator", "")),
        "at": at.isoformat(timespec="seconds"),
        "language": language,
    }
    text = XMP.format(**{key: escape(value) for key, value in words.items()})
    pdf.Root.Metadata = pdf.make_stream(text.encode(), Type=Name.Metadata, Subtype=Name.XML)


_KEPT: Final = frozenset({"/Title", "/Author", "/Subject", "/Creator", "/Producer", "/CreationDate", "/ModDate"})


def _pdf_date(at: datetime) -> str:
    zone = f"{at:%z}" or "+0000"
    return f"D:{at:%Y%m%d%H%M%S}{zone[:3]}'{zone[3:5]}'"
