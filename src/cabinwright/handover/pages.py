"""From templates to pages. Everything that a person wrote is escaped; nothing is fetched from anywhere."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

__all__ = ["css_string", "page", "stopped", "template_text"]


def page(template: str, *, styles: tuple[str, ...], **values: Any) -> str:
    """One self-contained page: ``templates/<template>.html.j2`` with the named style sheets inside it."""
    from markupsafe import Markup

    css = "\n".join(template_text(f"{name}.css").strip() for name in ("base", *styles))
    return _environment().get_template(f"{template}.html.j2").render(css=Markup(css), **values)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    made = Environment(
        loader=FunctionLoader(template_text),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["stopped"] = stopped
    return made


def css_string(text: str) -> Markup:
    """``text`` as a string of a style sheet: whatever is no letter, digit or space is escaped by its code."""
    from markupsafe import Markup

    safe = (sign if sign == " " or (sign.isascii() and sign.isalnum()) else f"\\{ord(sign):x} " for sign in text)
    return Markup('"' + "".join(safe) + '"')


def stopped(text: str) -> str:
    """The sentence with one full stop, whether it came with one or not."""
    text = text.rstrip()
    return text if not text or text[-1] in ".!?:" else f"{text}."


def template_text(name: str) -> str:
    """What stands in ``templates/<name>``."""
    return files("cabinwright.handover").joinpath("templates", name).read_text(encoding="utf-8")
