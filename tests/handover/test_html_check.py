"""The check of pages must itself be able to fail."""

from __future__ import annotations

import pytest

from handover.html_check import Page


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("<p><b>x</p></b>", "closes b"),
        ("<div><p>x</p>", "never closed"),
        ('<p id="a"></p><p id="a"></p>', "stands twice"),
        ('<img src="https://example.org/a.png">', "fetches"),
        ("<p><script>1</script></p>", "does not belong"),
        ('<p onclick="x">a</p>', "carries a script"),
    ],
)
def test_faults_are_found(text: str, fault: str) -> None:
    assert any(fault in item for item in Page(text).faults)


def test_a_sound_page_has_none() -> None:
    assert Page('<!doctype html><p>a &lt;b&gt;<br><svg><path d="M0 0"/></svg></p>').faults == []
