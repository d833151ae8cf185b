"""A check part by part. What a part has to tell is kept by the hash of all that it rests on: what has not changed need
not be checked again. What is kept can be deleted at any time.
"""

import json
import sys
from collections.abc import Mapping
from datetime import date
from hashlib import blake2b
from pathlib import Path
from typing import Any

import rdflib

from trayconcord.generators.check_output import Section, Told, together, told
from trayconcord.generators.output import write_files
from trayconcord.kb.document_parts import DocumentParts
from trayconcord.kb.files import read_regular
from trayconcord.kb.store import Store
from trayconcord.kb.turtle import bulk
from trayconcord.shapes.check import STATES, check
from trayconcord.shapes.findings import GRAVITY
from trayconcord.shapes.rules import rule_book


def check_by_parts(contents: Mapping[str, bytes], form: str, today: date | None, folder: Path) -> Told:
    """Check a store of documents against the shipped rules; what is kept in the folder is used, and kept anew.

    Raises `Uncut`, and `UnusableInput` where the vocabulary is not usable or the folder cannot be written.
    """
    with bulk():
        return _check(DocumentParts(contents), form, today, folder)


def _check(parts: DocumentParts, form: str, today: date | None, folder: Path) -> Told:
    file = folder / f"check-{form}.json"
    engine = _engine()
    kept = read_kept(file)
    now: dict[str, Told] = {}

    def tell(store: Store) -> Told:
        return told(check(store, rules, today), form)

    rules = rule_book()
    for parameter in parts.parameters:
        key = _hash(engine, form.encode(), parts.key(parameter, today).encode())
        known = kept.get(key)
        now[key] = tell(parts.part(parameter)) if known is None else known
    if now != kept:
        write_files({file: _written(now)})
    return together([tell(parts.rest()), *now.values()])


def _engine() -> bytes:
    """What findings rest on beside the store: this program, and what it reads Turtle with."""
    root = Path(__file__).parent
    homes = [(root, "*.py"), (root.parent / "shapes", "*.py"), (root.parent / "shapes" / "rules", "*.ttl")]
    homes.append((root.parent / "kb", "*.py"))
    code = [path.read_bytes() for home, pattern in homes for path in sorted(home.glob(pattern))]
    return _hash(sys.version.encode(), rdflib.__version__.encode(), *code).encode()


def _hash(*parts: bytes) -> str:
    digest = blake2b(digest_size=32)
    for part in parts:
        digest.update(b"%d:" % len(part) + part)
    return digest.hexdigest()


def _written(kept: dict[str, Told]) -> bytes:
    return sealed(json.dumps({key: _as_list(part) for key, part in kept.items()}, ensure_ascii=False).encode())


def _as_list(part: Told) -> list[Any]:
    sections = [[s.severity, s.rule, s.order, s.parameter, s.count, s.text] for s in part.sections]
    return [sections, part.states, part.errors, part.standings, part.claims, part.sources]


def sealed(text: bytes) -> bytes:
    """The contents of a file that is kept: a hash that shows damage, and a line of JSON."""
    return _hash(text).encode() + b"\n" + text + b"\n"


def read_kept(file: Path) -> dict[str, Told]:
    """What was kept; nothing where the file is missing, damaged, or of another making."""
    try:
        data = read_regular(file)
        text = data.partition(b"\n")[2].removesuffix(b"\n")
        if data != sealed(text):
            return {}
        return {str(key): _as_told(part) for key, part in json.loads(text).items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}


def _as_told(part: list[Any]) -> Told:
    sections = [Section(*section) for section in part[0]]
    found = Told(sections, *part[1:])
    texts = [text for s in sections for text in (s.rule, s.parameter, s.text)]
    texts += [text for pair in (*found.states.items(), *found.errors.items()) for text in pair] + [*found.standings]
    numbers = [number for s in sections for number in (s.order, s.count)]
    numbers += [*found.standings.values(), found.claims, found.sources]
    if not all(isinstance(text, str) for text in texts) or not all(isinstance(number, int) for number in numbers):
        raise TypeError
    if any(s.severity not in GRAVITY for s in sections) or any(state not in STATES for state in found.states.values()):
        raise ValueError
    return found
