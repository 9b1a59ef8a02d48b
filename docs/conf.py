"""How Sphinx builds these pages: ``python tools/docs.py``. Nothing is fetched, neither by the build nor by its pages."""

from __future__ import annotations

import re
from pathlib import Path

from sphinx.application import Sphinx

project = "Cabinwright"
author = "Cabinwright maintainers"
extensions = ["myst_parser"]
exclude_patterns = ["tutorial"]
myst_enable_extensions = ["colon_fence"]
myst_heading_anchors = 4
templates_path = ["_templates"]
html_theme = "basic"
html_css_files = ["cabinwright.css"]
html_static_path = ["_static"]
html_extra_path = ["build.schema.json"]
html_title = "Cabinwright"
html_sidebars = {"**": ["localtoc.html", "globaltoc.html", "searchbox.html"]}
html_show_sourcelink = False
html_copy_source = False
html_show_copyright = False
pygments_style = "none"
html_use_index = False
HERE = Path(__file__).parent


def _rest(app: Sphinx, docname: str, source: list[str]) -> None:
    """The index lists pages in an order that reads well; whatever it does not name follows at the end of the how-tos."""
    if docname == "index":
        named = set(re.findall(r"^([\w/-]+)$", source[0], re.MULTILINE))
        rest = sorted(page.stem for page in HERE.glob("*.md") if page.stem not in {*named, "index"})
        source[0] = source[0].replace("@REST@", "\n".join(rest))


def setup(app: Sphinx) -> None:
    app.connect("source-read", _rest)
