"""What ties the code to trays: the modules that name terms of the vocabulary. All else serves any subject."""

import ast
from pathlib import Path

from trayconcord.kb.vocabulary import Vocabulary

ROOT = Path(__file__).parent.parent
SUBJECT = {
    "kb/case_file.py", "shapes/facts.py", "generators/bench_card.py", "generators/item_terms.py", "generators/plans.py",
    "generators/manuscripts/functions.py", "generators/quantities.py", "generators/sheets.py",
}  # fmt: skip
"""Listed in DEVELOPERS.md, as are the figures."""


def named(path: Path, ids: set[str]) -> set[str]:
    """The terms that a module names in its code, not in what it tells people."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in ids
    }


def test_only_these_modules_name_terms_of_the_vocabulary(vocabulary: Vocabulary) -> None:
    words = {*vocabulary.parameters, *vocabulary.axes, *vocabulary.concepts}
    ids = {word for word in words if "-" in word} | {"arch"}  # a single word may be another thing's name
    paths = [path for room in ("kb", "shapes", "generators") for path in sorted((ROOT / room).rglob("*.py"))]
    found = {str(path.relative_to(ROOT)) for path in paths if named(path, ids)}
    figures = {name for name in found if name.startswith("generators/figures/")}
    assert found - figures == SUBJECT
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert all(name.removesuffix(".py") in guide for name in SUBJECT)
