"""The guide: a page for every command and for every kind of file that people and programs exchange."""

import re
from importlib.resources import files

from trayconcord.kb.errors import nearest, unusable
from trayconcord.shapes import rules


def page(name: str) -> str | None:
    """The page of a command or a kind of file, in Markdown; None if there is no such page."""
    path = files("trayconcord.generators") / "guide" / f"{name}.md"
    return path.read_text(encoding="utf-8") if re.fullmatch(r"[a-z-]+", name) and path.is_file() else None


def page_names() -> list[str]:
    """The names of the pages, by name."""
    pages = (files("trayconcord.generators") / "guide").iterdir()
    return sorted(path.name[:-3] for path in pages if path.name.endswith(".md"))


def summaries() -> dict[str, str]:
    """The first sentence of every page, by name."""
    return {name: (page(name) or "").split("\n\n")[1].replace("\n", " ") for name in page_names()}


def explained(name: str | None) -> str:
    """A page of the guide or of a rule, or without a name the list of both. Raises `UnusableInput`."""
    if name is None:
        lines = ["Commands and kinds of files", "", *(f"  {name:20} {text}" for name, text in summaries().items())]
        lines += ["", "Rules of the check", "", *(f"  {name}" for name in rules.page_names())]
        return "\n".join(lines) + "\n"
    text = page(name) or rules.page(name)
    if text is None:
        near = nearest(name, page_names() + rules.page_names())
        fix = f"did you mean {near}?" if near else "list them: trayconcord explain"
        raise unusable(name, "no page has this name", fix)
    return text
