"""The templates of the pages: found in the package, escaped always, and strict about what they name."""

from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined


def template_text(name: str) -> str:
    """A file of the templates folder as it is."""
    return (files("trayconcord.generators") / "templates" / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    names = [
        path.name for path in (files("trayconcord.generators") / "templates").iterdir() if path.name.endswith(".j2")
    ]
    return Environment(
        loader=DictLoader({name: template_text(name) for name in sorted(names)}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def render(name: str, **context: Any) -> str:
    """A template filled in; everything that it prints is escaped."""
    return _environment().get_template(name).render(**context)
