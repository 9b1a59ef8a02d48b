"""Hostile and harmless files. Signatures: RIFF/WAVE (IBM and Microsoft 1991), RF64 (EBU Tech 3306), fLaC (RFC 9639)."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.errors import RefusedError
from cabinwright.web import uploads
from cabinwright.web.uploads import heard, keep


def sound(kind: str) -> bytes:
    """A real file, written by libsndfile."""
    out = io.BytesIO()
    soundfile.write(out, np.zeros(480), 48000, format=kind)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "kind"), [("left-tweeter_p1.wav", "WAV"), ("p 2.FLAC", "FLAC"), ("links höher.wav", "WAV")]
)
def test_sound_is_kept_as_it_is(tmp_path: Path, name: str, kind: str) -> None:
    content = sound(kind)
    assert keep(tmp_path, name, content) == f"recordings/{name}"
    assert (tmp_path / "recordings" / name).read_bytes() == content


@pytest.mark.parametrize(
    "name",
    [
        *("../x.wav", "a/b.wav", "a\\b.wav", "/etc/x.wav", "C:x.wav", ".x.wav", "x.wav\0.exe", "x.exe", "con.wav", "LPT1.wav"),
        *("x\n.wav", "", "a" * 200 + ".wav"),
    ],
)  # fmt: skip
def test_names_that_lead_elsewhere(tmp_path: Path, name: str) -> None:
    with pytest.raises(RefusedError, match="not taken"):
        keep(tmp_path, name, sound("WAV"))
    assert list(tmp_path.iterdir()) == []


@given(st.text(max_size=40))
def test_no_name_leaves_the_folder(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    folder = tmp_path_factory.mktemp("build") / "inner"
    try:
        keep(folder, f"{name}.wav", sound("WAV"))
    except RefusedError:
        return
    (made,) = (folder / "recordings").iterdir()
    assert made.is_file()
    assert list(folder.parent.iterdir()) == [folder]


def test_what_is_in_it_counts(tmp_path: Path) -> None:
    for content in (b"", b"MZ" + bytes(100), sound("FLAC"), b"RIFF"):
        with pytest.raises(RefusedError, match="no WAV"):
            keep(tmp_path, "x.wav", content)


def test_nothing_is_written_over(tmp_path: Path) -> None:
    keep(tmp_path, "a.wav", sound("WAV"))
    with pytest.raises(RefusedError, match="is there already"):
        keep(tmp_path, "A.wav", sound("WAV"))


def test_size_and_number_are_limited(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "MOST_FILES", 1)
    keep(tmp_path, "a.wav", sound("WAV"))
    with pytest.raises(RefusedError, match="holds 1 files"):
        keep(tmp_path, "b.wav", sound("WAV"))
    monkeypatch.setattr(uploads, "LARGEST_FILE", 10)
    with pytest.raises(RefusedError, match="larger than"):
        keep(tmp_path, "c.wav", sound("WAV"))


def test_a_folder_that_leads_elsewhere(tmp_path: Path) -> None:
    away, build = tmp_path / "away", tmp_path / "build"
    away.mkdir()
    build.mkdir()
    try:
        (build / "recordings").symlink_to(away)
    except OSError:
        pytest.skip("this system gives no right to make links")
    with pytest.raises(RefusedError, match="leads elsewhere"):
        keep(build, "a.wav", sound("WAV"))
    assert list(away.iterdir()) == []


def test_only_sound_of_this_build_is_heard(tmp_path: Path) -> None:
    folder = tmp_path / "build"
    folder.mkdir()
    keep(folder, "a.wav", sound("WAV"))
    (tmp_path / "secret.wav").write_bytes(sound("WAV"))
    (folder / "build.toml").write_text("")
    assert heard(folder, "recordings/a.wav") == (folder / "recordings" / "a.wav").resolve()
    for name in (
        "build.toml",
        "../secret.wav",
        str(tmp_path / "secret.wav"),
        "recordings",
        "",
        "recordings/b.wav",
        "a\0.wav",
    ):
        assert heard(folder, name) is None
