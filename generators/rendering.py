"""Rendering pages from the templates: everything from a value is escaped, and a name that is missing is an error."""

from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined

from trayconcord.kb.model import Claim, subjects_of
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Caution


def cautions_of(store: Store, claims: Iterable[Claim]) -> list[Caution]:
    """The cautions that a page must show because of what its claims name."""
    return store.vocabulary.cautions_for(subject for claim in claims for subject in subjects_of(claim))


def template_text(name: str) -> str:
    """A file of the templates folder as it stands."""
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
    """A page from its template."""
    return _environment().get_template(name).render(**context)
