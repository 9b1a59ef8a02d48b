"""What the documents show, on the screen too: the same words, figures and drawings, from the same functions."""

from __future__ import annotations

import re
from collections.abc import Callable

from cabinwright.web.frame import View
from cabinwright.web.parts import box, button, html
from cabinwright.web.words import _

__all__ = ["paper", "parts_of"]

_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_MAIN = re.compile(r"<main[^>]*>(.*?)</main>", re.DOTALL)

_SIDEWAYS = re.compile(r'<(?:div|figure) class="(?:[\w-]+ )*(?:box|diagram|chain|plan|side)(?: [\w-]+)*"')


def parts_of(document: str) -> tuple[str, str]:
    """Style sheet and content of one of our own documents, the style kept to the sheet of paper it is shown on."""
    style, main = _STYLE.search(document), _MAIN.search(document)
    if style is None or main is None:
        raise ValueError("not one of our documents: no <style> or no <main>")
    css = re.sub(r"(?<![\w-])(:root|html|body)(?=\s*\{)", ":scope", style.group(1))
    return f"@scope (.paper) {{\n{css}\n}}", _reached(_deeper(_plain(main.group(1))))


def _deeper(content: str) -> str:
    """Headings one step down: on a page of the screen the question is the first."""
    return re.sub(r"(</?h)([2-5])(?=[\s>])", lambda found: f"{found.group(1)}{int(found.group(2)) + 1}", content)


def _reached(content: str) -> str:
    """What scrolls sideways on a narrow screen can be reached by keyboard (WCAG 2.1.1)."""
    return _SIDEWAYS.sub(r'\g<0> tabindex="0"', content)


def _plain(content: str) -> str:
    """Links to files beside the printed page lead nowhere here, and an empty head of a column is none."""
    content = re.sub(r'<a [^>]*href="(?!#)[^"]*"[^>]*>(.*?)</a>', r"\1", content, flags=re.DOTALL)
    return re.sub(r"<th(?: [^>]*)?></th>", "<td></td>", content)


def paper(view: View, name: str, words: str, make: Callable[[], str]) -> None:
    """A document's content on paper of its own, once it is asked for: drawing it takes longer than the page may."""
    opened: set[str] = view.state.setdefault("opened", set())

    async def turn() -> None:
        if name in opened:
            opened.remove(name)
        else:
            made.text = f"▸ {words}: {_('Working it out …')}"
            if await view.attempt(lambda: view.kept(name, make)) is not None:  # beside the page, which stays live
                opened.add(name)
        await view.draw()

    with box("h2", "fold"):
        made = button(("▾ " if name in opened else "▸ ") + words, turn)
    made.props["aria-expanded"] = str(name in opened).lower()
    if name in opened:
        css, content = parts_of(view.kept(name, make))
        sheet = html(f"<style>{css}</style>{content}", "paper")
        sheet.props["role"], sheet.props["aria-label"], sheet.props["tabindex"] = "region", words, 0
