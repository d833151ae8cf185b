"""The examples on the pages of the rules, as stores."""

import re
from itertools import count
from pathlib import Path

from trayconcord.generators.entry import enter
from trayconcord.kb.store import Store, load
from trayconcord.shapes.rules import page

FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)


def text_of(name: str) -> str:
    text = page(name)
    assert text is not None, f"{name} has no page"
    return text


def example(name: str, heading: str) -> list[tuple[str, str]]:
    """The fenced blocks of a section of a rule's page, as (language, content)."""
    section = re.split(r"^## ", text_of(name), flags=re.MULTILINE)
    (content,) = (part for part in section if part.startswith(f"{heading}\n"))
    blocks = FENCE.findall(content)
    assert blocks, f"{name}: no example under {heading}"
    return blocks


def store_of(blocks: list[tuple[str, str]], folder: Path) -> Store:
    """A department's store into which the blocks were entered or laid, in order."""
    layer = folder / "department"
    for number, (language, content) in zip(count(1), blocks, strict=False):
        if language == "yaml":
            folder.mkdir(exist_ok=True)
            form = folder / f"form-{number}.yaml"
            form.write_text(content, encoding="utf-8")
            enter([form], [layer], only=True, target=layer)
        else:
            assert language == "turtle", f"an example in {language or 'no language'}"
            kinds = {"a tc:Ruling": "rulings", "a tc:Case": "cases"}
            home = layer / next((home for mark, home in kinds.items() if mark in content), "sources")
            home.mkdir(parents=True, exist_ok=True)
            (home / f"example-{number}.ttl").write_text(content, encoding="utf-8")
    return load([layer], only=True)
