"""The bank as a QTI 3.0 package (1EdTech): a zip of an XML file per item, a test by chapters, and a manifest.

Only what a single choice needs is used. SCORE starts at 0, since an engine that cannot resolve the response-processing
template would otherwise mark every answer right.
"""

import io
import re
import zipfile
from hashlib import sha256

from trayconcord.generators.items import Item
from trayconcord.generators.rendering import render
from trayconcord.kb.vocabulary import Term, Vocabulary

EPOCH = (1980, 1, 1, 0, 0, 0)
"""The time that every file of the package bears, the earliest that a zip can hold: equal banks give equal bytes."""

LONGEST = 80
"""Characters that the identifier of an item in the package has at most."""

ILLEGAL = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 cannot hold, section 2.2."""


def qti_package(items: list[Item], vocabulary: Vocabulary) -> bytes:
    """The package as a zip."""
    files = {
        f"items/{name_of_item(item)}.xml": _xml("qti-item.xml.j2", item=item, identifier=name_of_item(item))
        for item in items
    }
    sections = [(chapter, found) for chapter in vocabulary.chapters.values() if (found := _of(chapter, items))]
    files["test.xml"] = _xml("qti-test.xml.j2", sections=sections, name_of_item=name_of_item)
    files["imsmanifest.xml"] = _xml("qti-manifest.xml.j2", names=[name_of_item(item) for item in items])
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
        for path in sorted(files):
            entry = zipfile.ZipInfo(path, EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            package.writestr(entry, files[path])
    return stream.getvalue()


def name_of_item(item: Item) -> str:
    """The identifier of an item in the package: a name that begins with a letter, as XML wants, and short enough
    for a file on any system; what is cut off stays told apart by a hash."""
    name = "item-" + re.sub(r"[^A-Za-z0-9_.-]", "-", item.id)
    return name if len(name) <= LONGEST else f"{name[: LONGEST - 13]}-{sha256(item.id.encode()).hexdigest()[:12]}"


def _of(chapter: Term, items: list[Item]) -> list[Item]:
    return [item for item in items if item.parameter.chapter == chapter.id]


def _xml(template: str, **context: object) -> str:
    return ILLEGAL.sub("", render(template, **context))
