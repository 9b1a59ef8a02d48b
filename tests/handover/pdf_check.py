"""A PDF read back as far as the book needs it: bookmarks, tags, words for drawings, fonts. Written from ISO 32000-1 alone."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

__all__ = ["Bookmark", "Pdf", "spoken_text"]

Bookmark = tuple[int, str]


class Pdf:
    """One file with plain objects, as its maker writes them (no object streams)."""

    def __init__(self, content: bytes) -> None:
        self.content = content
        self.objects = {
            int(number): body for number, body in re.findall(rb"(?:^|\n)(\d+) 0 obj\n(.*?)\nendobj", content, re.DOTALL)
        }
        if not self.objects:
            raise ValueError("no PDF with plain objects")

    @property
    def pages(self) -> int:
        return sum(bool(re.search(rb"/Type\s*/Page\b", body)) for body in self.objects.values())

    def bookmarks(self) -> list[Bookmark]:
        """Depth and words of each, in their order; every one has to lead to a page."""
        root = next(body for body in self.objects.values() if re.search(rb"/Type\s*/Outlines\b", body))
        return list(self._below(root, 0))

    def _below(self, parent: bytes, depth: int) -> Iterator[Bookmark]:
        number = _reference(parent, b"First")
        while number is not None:
            body = self.objects[number]
            yield depth, _string(body, b"Title")
            self._leads_to_a_page(body)
            yield from self._below(body, depth + 1)
            number = _reference(body, b"Next")

    def _leads_to_a_page(self, body: bytes) -> None:
        where = _reference(body, b"Dest")
        assert where is not None, "a bookmark leads nowhere"
        found = re.search(rb"(\d+) 0 R", self.objects[where])
        assert found and re.search(rb"/Type\s*/Page\b", self.objects[int(found[1])]), "a bookmark leads to no page"

    def faults(self) -> list[str]:
        """What a reader who cannot see the pages, or has not our fonts, would miss."""
        found = []
        figures = [body for body in self.objects.values() if b"/S/Figure" in body]
        silent = [body for body in figures if len(_string(body, b"Alt").strip()) < 3]
        if silent:
            found.append(f"{len(silent)} of {len(figures)} figures say nothing")
        for body in self.objects.values():
            if b"/Type/FontDescriptor" in body and not re.search(rb"/FontFile[23]? \d+ 0 R", body):
                found.append("a font is not inside")
        catalogue = next(body for body in self.objects.values() if b"/Type/Catalog" in body)
        for key in (b"/Lang(en)", b"/StructTreeRoot ", b"/MarkInfo<</Marked true"):
            if key not in catalogue:
                found.append(f"the catalogue lacks {key.decode()}")
        if b"<pdfuaid:part>1</pdfuaid:part>" not in self.content:
            found.append("it does not claim to be PDF/UA-1")
        return found

    @property
    def figures(self) -> list[str]:
        """What is said in place of each drawing."""
        return [_string(body, b"Alt") for body in self.objects.values() if b"/S/Figure" in body]

    @property
    def fonts(self) -> set[str]:
        return {name.decode().split("+")[-1] for name in re.findall(rb"/FontName/([^/\s>]+)", self.content)}

    @property
    def links(self) -> int:
        return len(re.findall(rb"/Subtype\s*/Link\b", self.content))


def _reference(body: bytes, key: bytes) -> int | None:
    found = re.search(rb"/" + key + rb"\s+(\d+) 0 R", body)
    return int(found[1]) if found else None


def _string(body: bytes, key: bytes) -> str:
    """A text string: literal in PDFDocEncoding (here ASCII) or either in UTF-16 with its mark (7.9.2.2)."""
    start = body.find(b"/" + key)
    if start < 0:
        return ""
    rest = body[start + 1 + len(key) :].lstrip()
    if rest[:1] == b"<":
        raw = bytes.fromhex(rest[1 : rest.index(b">")].decode())
    elif rest[:1] == b"(":
        raw = bytes(_literal(rest))
    else:
        return ""
    return raw[2:].decode("utf-16-be") if raw[:2] == b"\xfe\xff" else raw.decode("ascii")


ESCAPES = {0x6E: 0x0A, 0x72: 0x0D, 0x74: 0x09, 0x62: 0x08, 0x66: 0x0C}


def _literal(text: bytes) -> Iterator[int]:
    """The bytes of a literal string that begins at ``(``: escapes, octal codes, brackets that balance."""
    depth, at = 0, 0
    while True:
        sign = text[at]
        if sign == 0x5C:
            octal = re.match(rb"[0-7]{1,3}", text[at + 1 : at + 4])
            if octal:
                yield int(octal[0], 8)
                at += 1 + len(octal[0])
                continue
            yield ESCAPES.get(text[at + 1], text[at + 1])
            at += 2
            continue
        depth += (sign == 0x28) - (sign == 0x29)
        if depth == 0:
            return
        if not (sign == 0x28 and depth == 1 and at == 0):
            yield sign
        at += 1


def spoken_text(pdf: bytes, folder: Path) -> str | None:
    """All words in reading order as poppler finds them; None where it is not installed."""
    if shutil.which("pdftotext") is None:
        return None
    file = folder / "read-back.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-enc", "UTF-8", str(file), "-"], capture_output=True, check=True)
    return " ".join(done.stdout.decode("utf-8").split())
