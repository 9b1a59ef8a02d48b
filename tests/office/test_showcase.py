"""The job's log: into the book, and onto a page that shows nothing that was not allowed and names nobody.

EXIF is read back by Pillow, the page by the standard library's own HTML reader.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from base64 import b64decode
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from cabinwright.errors import MeanwhileError, PersonError, RefusedError
from cabinwright.office import bench, offers, showcase
from cabinwright.shop.people import allow
from cabinwright.shop.rows import Customer
from cabinwright.shop.store import Store
from office import invented


def photograph(colour: str = "teal") -> bytes:
    """With a place and a maker in its EXIF, lying on its side."""
    image, out = Image.new("RGB", (2000, 900), colour), io.BytesIO()
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "An invented camera", 6
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 12.0)
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


def opened(store: Store, tmp_path: Path) -> int:
    return invented.opened(store, invented.folder(tmp_path / "build"))


def consent(store: Store, *, named: bool = False) -> None:
    def say(work: object) -> None:
        row = work.get(Customer, 1)  # type: ignore[attr-defined]
        allow(work, 1, count=row.count, photographs=True, named=named)  # type: ignore[arg-type]

    store.change(say, by="olga")


class Read(HTMLParser):
    """Tags with their attributes, and the words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words += data


def test_nothing_is_shown_without_consent_and_a_choice(store: Store, tmp_path: Path) -> None:
    job_id = opened(store, tmp_path)
    shot = showcase.add_photograph(store, job_id, photograph(), name="a.jpg", by="bo", words="the bay, open")
    note = showcase.add_note(store, job_id, "Mara calls on Friday", by="bo", pinned="power")
    assert [row.kind for row in showcase.diary(store, job_id)] == ["photograph", "note"] and note.pinned == "power"
    with pytest.raises(RefusedError, match="did not allow"):
        showcase.page(store, job_id, title="A quiet estate")
    with pytest.raises(RefusedError, match="did not allow"):
        showcase.allow_on_page(store, shot.id, True, count=shot.count, by="bo")
    consent(store)
    with pytest.raises(RefusedError, match="no photograph was chosen"):
        showcase.page(store, job_id, title="A quiet estate")
    chosen = showcase.allow_on_page(store, shot.id, True, count=shot.count, by="bo")
    assert chosen.public
    with pytest.raises(MeanwhileError):
        showcase.allow_on_page(store, shot.id, False, count=shot.count, by="olga")
    page = showcase.page(store, job_id, title="A quiet estate")
    assert "Friday" not in page and "Mara" not in page


def test_the_page_stands_alone_and_its_pictures_tell_nothing(lite: Store, tmp_path: Path) -> None:
    job_id = opened(lite, tmp_path)
    consent(lite)
    for words in ("the bay <b>open</b>", 'x" onerror="alert(1)'):
        shot = showcase.add_photograph(lite, job_id, photograph(), name="a.jpg", by="bo", words=words)
        showcase.allow_on_page(lite, shot.id, True, count=shot.count, by="bo")
    found = Read(showcase.page(lite, job_id, title="A <i>quiet</i> estate", words="One.\nTwo."))
    for tag, attributes in found.tags:
        assert tag not in ("script", "link", "iframe", "i", "b", "a") and not any(
            key.startswith("on") for key in attributes
        )
    pictures = [attributes for tag, attributes in found.tags if tag == "img"]
    assert len(pictures) == 2 and "the bay <b>open</b>" in found.words and "A <i>quiet</i> estate" in found.words
    for attributes in pictures:
        kind, _, data = str(attributes["src"]).partition(",")
        assert kind == "data:image/jpeg;base64"
        with Image.open(io.BytesIO(b64decode(data))) as image:
            assert not image.getexif() and image.size == (720, 1600)  # upright
            assert (str(image.width), str(image.height)) == (attributes["width"], attributes["height"])
    page = showcase.page(lite, job_id, title="A quiet estate")
    assert not re.search(r"https?://", page) and page == showcase.page(lite, job_id, title="A quiet estate")


@pytest.mark.parametrize(
    "words", ["For Mara", "INVENTED's estate", "mara@example.invalid", "ask m a r a i n v e n t e d"]
)
def test_words_that_name_the_customer_are_refused_unless_allowed(words: str, lite: Store, tmp_path: Path) -> None:
    job_id = opened(lite, tmp_path)
    consent(lite)
    shot = showcase.add_photograph(lite, job_id, photograph(), name="a.jpg", by="bo")
    showcase.allow_on_page(lite, shot.id, True, count=shot.count, by="bo")
    with pytest.raises(RefusedError, match="did not allow that"):
        showcase.page(lite, job_id, title=words)
    with pytest.raises(RefusedError, match="did not allow that"):
        showcase.page(lite, job_id, title="An estate", words=words)
    assert "Mara" not in showcase.page(lite, job_id, title="An estate")
    consent(lite, named=True)
    assert "Built for Mara Invented" in showcase.page(lite, job_id, title=words)


def test_a_file_that_is_no_photograph_is_refused(lite: Store, tmp_path: Path) -> None:
    job_id = opened(lite, tmp_path)
    with pytest.raises(PersonError, match="no photograph"):
        showcase.add_photograph(lite, job_id, b"<svg/>", name="a.svg", by="bo")
    assert showcase.diary(lite, job_id) == ()


def test_the_log_stands_in_the_book(lite: Store, tmp_path: Path) -> None:
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext and pdfimages (Debian: poppler-utils) are not installed")
    job_id = opened(lite, tmp_path)
    offers.house(lite)
    task = bench.plan_tasks(lite, job_id, by="bo")[0]
    showcase.add_photograph(
        lite, job_id, photograph(), name="a.jpg", by="bo", pinned="bay box", words="glued and braced"
    )
    showcase.add_photograph(lite, job_id, photograph("red"), name="b.jpg", by="bo", task_id=task.id)
    showcase.add_note(lite, job_id, "#strong[no markup] <b>", by="bo", pinned="bay box")
    written = showcase.book(lite, job_id)
    book = next(path for path in written if path.name == "book.pdf")
    words = subprocess.run([tool, str(book), "-"], capture_output=True, check=True, timeout=60).stdout.decode("utf-8")
    plain = " ".join(words.split())
    assert "How it was built" in plain and "glued and braced" in plain and "#strong[no markup] <b>" in plain
    assert task.name in plain
    listed = subprocess.run(["pdfimages", "-list", str(book)], capture_output=True, check=True, timeout=60).stdout
    assert listed.count(b"jpeg") == 2


def test_an_entry_may_be_pinned_to_what_the_build_has(lite: Store, tmp_path: Path) -> None:
    job_id = invented.opened(lite, invented.folder(tmp_path / "build"))
    showcase.add_note(lite, job_id, "brittle", by="olga", pinned="left clip")
    found = showcase.pins(lite, job_id)
    assert {"power", "tuning", "left clip", "bay box", "cover", "left pillar", "amplifier"} <= set(found)
    assert len(found) == len(set(found))
    (tmp_path / "build" / "build.toml").unlink()
    assert {"power", "left clip"} <= set(showcase.pins(lite, job_id))
