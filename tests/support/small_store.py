"""Forms of an invented department, and what a store holds that they were entered into."""

from trayconcord.generators.entry import enter
from trayconcord.kb.store import load

FIRST = """\
source: {id: harrow-vale, title: Bench handout, authors: [Harrow Vale Dental School], kind: lecture-notes}
claims:
- {parameter: spacer-thickness, value: 1 mm, obtained: read, at: p. 1}
- {parameter: spacer-thickness, when: {impression-material: polyether}, value: 2 mm, obtained: read, at: p. 2}
"""
CHANGED = """\
source: {id: harrow-vale, title: "Bench handout, corrected", kind: lecture-notes}
claims:
- {parameter: spacer-thickness, value: 3 mm, obtained: read, at: p. 1}
"""
RULED = """\
rulings:
- {parameter: spacer-thickness, value: 2 mm, because: one sheet, decided-on: 2026-05-12, decided-by: board}
cases:
- {id: any-case, when: {impression-material: polyether}, asks: [spacer-thickness]}
"""
LATER = """\
source: {id: later-notes, title: Later notes, kind: lecture-notes}
claims:
- {parameter: spacer-thickness, value: 4 mm, obtained: read, at: p. 4}
"""
RETIRED = """\
# a remark
claim/zinc-notes/spacer-thickness -> claim/harrow-vale/spacer-thickness | the same handout, "entered" twice
claim/harrow-vale/stop-count | \\u0022 } } ; DROP ALL # é, \\
"""


def enter_into(target, *paths):
    return enter(list(paths), [target], True, target)


def triples(target):
    """All that a store says, the vocabulary included; a store that is not there says nothing of its own."""
    return frozenset(load([target] if target.exists() else [], only=True).graph)


def files(folder):
    """Every file below a folder with its bytes, the lock apart: it holds nothing and stays."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != ".lock"
    }


def debris(target):
    return [path.name for path in target.iterdir() if path.name.startswith((".draft-", ".committed"))]
