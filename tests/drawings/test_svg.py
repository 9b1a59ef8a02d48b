"""Charts as SVG: the same bytes every time, words kept as words, readable by everyone."""

from __future__ import annotations

import os
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from cabinwright.drawings.chart import INKS, PAPER, SHADE, Axis, Chart, Line, Mark, Shade, Spread, stacked, thinned
from cabinwright.drawings.svg import render, swatch

SVG = "{http://www.w3.org/2000/svg}"
X = np.geomspace(20.0, 20_000.0, 100)


def chart(label: str = "level, dB") -> Chart:
    return Chart(
        'What it shows: <a> & "b"',
        Axis.frequency(),
        Axis(label, -24.0, 12.0, step=6.0),
        lines=(Line(X, np.sin(np.log(X)), "after", "after"), Line(X, np.where(X > 99.0, -3.0, np.nan), "", "before")),
        spreads=(Spread(X, np.full(100, -6.0), np.full(100, 2.0), "spread", "after"),),
        shades=(Shade(20.0, 60.0),),
        marks=(Mark(0.0, "y"),),
    )


def words(svg: str) -> list[str]:
    return [item.text or "" for item in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_the_same_chart_gives_the_same_bytes() -> None:
    first = render(chart(), name="one")
    render(stacked(X, {"a": X}, x=Axis("t", 20.0, 20_000.0, step=5000.0), says="other"), name="two")
    assert render(chart(), name="one") == first


def test_another_process_gives_the_same_bytes() -> None:
    code = (
        "import sys, numpy as np; from cabinwright.drawings.chart import *;"
        "from cabinwright.drawings.svg import render;"
        "x = np.arange(5.0);"
        "a = Axis('t', 0.0, 4.0, step=1.0);"
        "c = Chart('s', a, a, lines=(Line(x, x, 'a', 'after'),), shades=(Shade(1.0, 2.0),));"
        "sys.stdout.write(render(c, name='c'))"
    )
    out = [
        subprocess.run(
            [sys.executable, "-c", code], check=True, capture_output=True, env={**os.environ, "PYTHONHASHSEED": seed}
        ).stdout
        for seed in ("1", "2")
    ]
    assert out[0] == out[1]
    assert out[0].startswith(b"<svg")


def test_words_stay_words_and_nothing_else_is_told() -> None:
    svg = render(chart(), name="one")
    assert {"20", "1k", "20k", "frequency, Hz", "level, dB", "12", "−24"} <= set(words(svg))
    assert not any(word in svg.lower() for word in ("matplotlib", "date", "<metadata", "http://purl", "dejavu"))
    root = ElementTree.fromstring(svg)
    assert root.attrib["aria-label"] == 'What it shows: <a> & "b"'


@pytest.mark.parametrize(
    "name", [r"$\frac{1}{0}$", "v2.123456 id='a' x=\"1.98765\"", "a & <b> ]]>", "左ツイーター", "_x"]
)
def test_names_come_through_untouched(name: str) -> None:
    time = np.linspace(-1.0, 5.0, 50)
    svg = render(stacked(time, {name: time}, x=Axis("t, ms", -1.0, 5.0, step=1.0), says=name), name="one")
    assert name in words(svg)
    assert name in words(render(chart(name), name="one"))


def test_ids_of_two_charts_do_not_clash() -> None:
    both = f"<div>{render(chart(), name='one')}{render(chart(), name='two')}</div>"
    ids = [item.attrib["id"] for item in ElementTree.fromstring(both).iter() if "id" in item.attrib]
    assert ids
    assert len(set(ids)) == len(ids)
    assert all(f'id="{part}"' in both for part in [piece.split(")")[0] for piece in both.split("url(#")[1:]])


def test_a_chart_is_small() -> None:
    assert len(render(chart(), name="one")) < 20_000


@pytest.mark.parametrize("name", ["", "a b", '"><x', "1a"])
def test_chart_names_are_checked(name: str) -> None:
    with pytest.raises(ValueError, match="chart name"):
        render(chart(), name=name)


def test_thinning_keeps_every_peak() -> None:
    rng = np.random.default_rng(3)
    y = rng.normal(size=48_000)
    y[[17, 31_999]] = 40.0, -50.0
    x = np.arange(48_000.0)
    at, kept = thinned(x, y, columns=400)
    assert len(at) <= 2 * 400 + 400
    assert (np.diff(at) > 0).all()
    assert {40.0, -50.0} <= set(kept.tolist())
    assert (y[at.astype(int)] == kept).all()
    short = np.arange(10.0)
    assert thinned(short, short, columns=400)[0] is short


def test_stacked_traces_keep_their_places() -> None:
    time = np.linspace(-2.0, 10.0, 1200)
    drawn = stacked(time, {"a": np.exp(-(time**2)), "b": 0.0 * time}, x=Axis("t", -1.0, 5.0, step=1.0), says="s")
    assert drawn.y.ticks == ((1.0, "a"), (0.0, "b"))
    assert drawn.lines[0].y.max() == pytest.approx(1.48, abs=1e-3)
    assert (drawn.lines[1].y == 0.0).all()
    assert drawn.lines[0].x.min() >= -1.0


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula() -> None:
    """WCAG 2.2: black on white is 21 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("ink", INKS)
def test_every_line_stands_out(ink: str) -> None:
    assert contrast(INKS[ink].colour, PAPER) >= 4.5
    assert contrast(INKS[ink].colour, SHADE) >= 3.0
    assert ElementTree.fromstring(swatch(ink)).attrib["aria-hidden"] == "true"
