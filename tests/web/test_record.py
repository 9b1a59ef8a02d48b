"""A whole guided session in a real browser against the simulated car: chosen card, a bad take that is caught and redone, a stop
in the middle, and tomorrow. axe-core judges what everybody can use, at each step.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from cabinwright.build.codec import load
from cabinwright.measure.reader import read_recordings
from cabinwright.measure.sound_card import SimulatedCard, load_settings, save_settings
from measure.simulated_car import text as build_text
from web.test_journeys import BROWSER, WAIT_MS, arrive, browser

__all__ = ["browser"]  # a fixture

pytestmark = pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@contextmanager
def screen(place: Path, content: str, **more: str) -> Iterator[tuple[str, Path]]:
    """The address of a screen on a fresh build, and its folder."""
    folder = place / "build"
    folder.mkdir()
    (folder / "build.toml").write_text(content, encoding="utf-8", newline="\n")
    homes = {name: str(place / "home") for name in ("HOME", "XDG_CONFIG_HOME", "APPDATA", "LOCALAPPDATA")}
    tests = str(Path(__file__).parents[1])
    surroundings = {**os.environ, **homes, "PYTHONUTF8": "1", "PYTHONPATH": tests, **more}
    command = [sys.executable, "-m", "web.simulated_screen", str(folder)]
    told = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    with subprocess.Popen(command, encoding="utf-8", env=surroundings, **told) as running:
        assert running.stdout is not None
        line = running.stdout.readline()
        assert line.startswith("The screen is at "), line + running.stdout.read()
        yield line.split()[4], folder
        running.terminate()
        running.wait(20)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    """Two positions and three channels."""
    with screen(tmp_path, build_text(places=2, channels=3)) as found:
        yield found


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """One position and two channels, markers, a radio and a speaker model; the card is chosen. One for all that follow."""
    place = tmp_path_factory.mktemp("other")
    rows = '[[factory_outputs]]\nname = "front left"\n[[speaker_models]]\nname = "W1"\n'
    content = build_text("marker", places=1, channels=2).replace("[tuning]", f"{rows}[tuning]", 1)
    save_settings(SimulatedCard().settings(timing="loopback", block_frames=4096), place / "home" / "cabinwright")
    with screen(place, content, HANDS=str(place / "hands.txt"), PACE="40") as found:
        yield found


def hands(folder: Path, did: str) -> None:
    """What the person at the car did."""
    (folder.parent / "hands.txt").write_text(did, encoding="utf-8")


def looked_at(page: Page, name: str) -> None:
    """Kept to be looked at, where SHOTS names a folder: as it is, and on a phone in the dark."""
    place = os.environ.get("SHOTS")
    if not place:
        return
    before = page.viewport_size
    page.screenshot(path=Path(place) / f"{name}.png", full_page=True)
    page.evaluate("document.documentElement.dataset.scheme = 'garage'")
    page.set_viewport_size({"width": 390, "height": 844})
    page.screenshot(path=Path(place) / f"{name}-phone.png", full_page=True)
    page.evaluate("delete document.documentElement.dataset.scheme")
    page.set_viewport_size(before or {"width": 820, "height": 1180})


def clean(page: Page) -> None:
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def headline(page: Page, words: str) -> None:
    expect(page.locator(".stage .headline")).to_contain_text(words, timeout=WAIT_MS)


def files(folder: Path) -> list[str]:
    return [row.file for row in load(folder).recordings]


def test_a_whole_session_with_a_bad_take(browser: Browser, served: tuple[str, Path]) -> None:
    address, folder = served
    page = arrive(browser.new_page(base_url=address, viewport={"width": 820, "height": 1180}), "/record")
    clean(page)
    page.get_by_role("button", name="Choose the sound card").click()
    expect(page.get_by_role("combobox", name="Microphone")).to_have_value("0", timeout=WAIT_MS)
    clean(page)
    page.get_by_role("button", name="Keep and test").click()
    expect(page.get_by_text("Noise of the microphone")).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("button", name="Begin the round").click()
    headline(page, "left tweeter at p1")

    page.keyboard.press("Enter")
    headline(page, "Recording")
    page.keyboard.press("x")  # any key
    headline(page, "Stopped")
    expect(page.get_by_text("Nothing was kept of this take")).to_be_visible()
    assert files(folder) == [] and list((folder / "recordings").iterdir()) == []

    page.keyboard.press("Enter")
    headline(page, "Out, doors shut")
    clean(page)  # on a busy computer the take is over by then, and nothing is lost
    headline(page, "right tweeter at p1")
    page.keyboard.press("Enter")
    headline(page, "left midbass at p1")
    expect(page.locator("[role=status].said")).to_have_text("✓ good: right tweeter p1", timeout=WAIT_MS)
    assert files(folder) == ["recordings/left-tweeter_p1.wav", "recordings/right-tweeter_p1.wav"]
    page.keyboard.press("Enter")
    headline(page, "Not good")
    looked_at(page, "bad-take")
    expect(page.get_by_role("heading", name="✗ not good: left midbass p1")).to_be_visible()
    expect(page.locator(".curves .chart canvas")).to_be_visible()
    assert len(files(folder)) == 2
    clean(page)
    before = (folder / "recordings" / "left-midbass_p1.wav").read_bytes()
    page.get_by_role("button", name="record again").click()
    headline(page, "left midbass at p2")
    assert files(folder)[-1] == "recordings/left-midbass_p1_2.wav"
    assert (folder / "recordings" / "left-midbass_p1.wav").read_bytes() == before

    page.get_by_role("button", name="End for today").click()
    page.get_by_role("button", name="Begin the round").click()
    headline(page, "left midbass at p2")
    page.keyboard.press("s")  # later
    headline(page, "right tweeter at p2")
    for name in ("left tweeter at p2", "left midbass at p2", "All recorded"):
        page.keyboard.press("Enter")
        headline(page, name)
    page.close()
    found = read_recordings(load(folder), folder)
    assert len(found.verdicts) == 6 and all(verdict.good for verdict in found.verdicts)


#: A voice of this computer, as the Web Speech API describes one; what it was given to say is kept.
VOICE = """
window.spoken = [];
window.SpeechSynthesisUtterance = class { constructor(words) { this.text = words; } };
Object.defineProperty(window, "speechSynthesis", { value: {
  cancel() {}, speak(one) { window.spoken.push(one.text); },
  getVoices() { return [{ localService: false, lang: "en-GB" }, { localService: true, lang: "en-US" }]; },
} });
"""


@pytest.fixture
def page(browser: Browser, other: tuple[str, Path]) -> Iterator[Page]:
    made = browser.new_page(base_url=other[0], viewport={"width": 820, "height": 1180})
    made.add_init_script(VOICE)
    yield arrive(made, "/record")
    made.close()


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name).click()


def choose(page: Page, name: str) -> None:
    """One of a few; the page is drawn anew before the next is chosen."""
    page.get_by_role("button", name=name, exact=True).click()
    expect(page.get_by_role("button", name=f"✓ {name}", exact=True)).to_be_visible(timeout=WAIT_MS)


def test_checks_before_the_takes(page: Page, other: tuple[str, Path]) -> None:
    """Turned wires are told, a coil is measured, and what is wrongly joined is refused in words on the page."""
    folder = other[1]
    page.get_by_text("Which way a loudspeaker moves first").click()
    for did, told in (("polarity", "outwards"), ("turned", "inwards, against the copy")):
        hands(folder, f"{did} left tweeter")
        press(page, "Play pulses")
        expect(page.get_by_text(f"left tweeter: moves first {told}")).to_be_visible(timeout=WAIT_MS)
    page.get_by_text("impedance, by a resistor").click()
    press(page, "Begin to measure")
    expect(page.get_by_role("alert")).to_contain_text("Name the resistor in ohm", timeout=WAIT_MS)
    page.get_by_role("textbox", name="Resistor as you measured it").fill("22")
    mass = page.get_by_role("textbox", name="Mass stuck to the cone")
    mass.fill("12 g")
    press(page, "Begin to measure")
    expect(page.get_by_role("alert")).to_contain_text("Measure it in free air first", timeout=WAIT_MS)
    expect(mass).to_have_value("12 g")  # what was typed stays to be mended
    mass.fill("")
    press(page, "Begin to measure")
    expect(page.get_by_text("in one point, before the resistor")).to_be_visible(timeout=WAIT_MS)
    clean(page)
    looked_at(page, "checks")
    for did, told in (
        ("joined", page.get_by_text("between the resistor and W1")),
        ("joined", page.get_by_role("alert").filter(has_text="the coil is not connected")),  # nobody moved the cable
        ("coil", page.get_by_text("impedance/w1_free-air.txt is written")),
    ):
        hands(folder, did)
        press(page, "It is joined: measure")
        expect(told).to_be_visible(timeout=WAIT_MS)
    (curve,) = load(folder).impedance_curves
    assert curve.model == "W1" and (folder / curve.file).is_file()


def test_the_calibrator(page: Page, other: tuple[str, Path]) -> None:
    """IEC 60942: 94 dB at 1 kHz; its rms of 0.1 makes full scale 114 dB. Noise alone is no calibrator."""
    folder = other[1]
    hands(folder, "finger")
    press(page, "Calibrate: it is on the microphone")
    expect(page.get_by_role("alert")).to_contain_text("no tone at 1000 Hz", timeout=WAIT_MS)
    assert load_settings(folder.parent / "home" / "cabinwright").unit_level_db is None
    hands(folder, "calibrator")
    press(page, "Calibrate: it is on the microphone")
    expect(page.get_by_text("full scale is 114.0 dB (re 20 µPa)")).to_be_visible(timeout=WAIT_MS)
    assert load_settings(folder.parent / "home" / "cabinwright").unit_level_db == pytest.approx(114.0, abs=0.1)
    looked_at(page, "calibrated")
    settings = load_settings(folder.parent / "home" / "cabinwright")
    save_settings(settings.model_copy(update={"unit_level_db": None}), folder.parent / "home" / "cabinwright")


@pytest.mark.parametrize(
    ("chosen", "first", "then", "table"),
    [
        ("The car plays, from a stick or a disc", "left tweeter at p1", ("right tweeter at p1",), "recordings"),
        (
            "Again, through the loaded settings",
            "left side at p1",
            ("right side at p1", "everything at p1"),
            "verification_recordings",
        ),
        ("The radio's outputs", "front left", (), "factory_recordings"),
    ],
    ids=["by-car", "verification", "factory"],
)
def test_other_rounds(
    page: Page, other: tuple[str, Path], chosen: str, first: str, then: tuple[str, ...], table: str
) -> None:
    """From the first choice to the last take, prompts spoken by a voice of this computer and by no other."""
    folder = other[1]
    for name in ("Spoken, too", "0", chosen):
        choose(page, name)
    looked_at(page, f"{table}-before")
    press(page, "Begin the round")
    headline(page, first)
    clean(page)
    looked_at(page, f"{table}-ready")
    page.keyboard.press("Enter")
    for name in then:
        headline(page, name)
        page.keyboard.press("Enter")
    headline(page, "All recorded")
    looked_at(page, f"{table}-done")
    rows = getattr(load(folder), table)
    assert len(rows) == 1 + len(then) and all((folder / row.file).is_file() for row in rows)
    spoken = page.evaluate("spoken")
    assert any(words.startswith(first) for words in spoken) and any("All recorded" in words for words in spoken)
    press(page, "End for today")
