"""What every page owes everybody: WCAG 2.2 AA by axe-core in both schemes, room for a finger, no wider than a phone."""

from __future__ import annotations

from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

__all__ = ["PHONE", "RULES", "usable"]

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PHONE: Any = {"width": 390, "height": 844}
SMALL = """(touched) => [...document.querySelectorAll(touched)].filter((one) => one.checkVisibility())
  .map((one) => [one.textContent, one.getBoundingClientRect()])
  .filter(([_, box]) => box.height > 0 && box.left >= 0 && Math.min(box.height, box.width) < 44)
  .map(([words]) => words)"""


def usable(page: Page, name: str, *, touched: str, within: Any = None) -> None:
    """Hold a drawn page of a phone's size to it; what is ``touched`` (a selector) has 44 px at least (WCAG 2.5.5).

    ``within`` is axe-core's context. The page is left in the dim scheme.
    """
    for scheme, rules in (("sunlight", RULES), ("garage", ["cat.color"])):  # the schemes differ in colours alone
        page.evaluate("(name) => cabinwright.set(name)", scheme)
        found = Axe().run(page, context=within, options={"runOnly": rules})
        assert found.violations_count == 0, f"{name} {scheme}\n{found.generate_report()}"
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], name
    small = page.evaluate(SMALL, touched)
    assert not small, (name, small)
