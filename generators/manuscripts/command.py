"""The command around manuscripts: writing what was rendered, and telling what no longer holds."""

import inspect
from collections.abc import Sequence
from pathlib import Path
from textwrap import indent

from trayconcord.generators.manuscripts.checking import Stale, Verdict, stale
from trayconcord.generators.manuscripts.functions import NAMES, Functions
from trayconcord.generators.manuscripts.passages import read_record, record_json, record_path
from trayconcord.generators.manuscripts.rendering import Rendered, render
from trayconcord.generators.output import write_files
from trayconcord.generators.value_json import dump
from trayconcord.kb.errors import UnusableInput, unusable
from trayconcord.kb.files import read_regular
from trayconcord.kb.model import Scope
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison

LONG, SHORT = 300, 80
"""Signs of a text, and of a call, that a message quotes."""


def render_file(manuscript: Path, out: Path | None, store: Store, case: Scope) -> tuple[Path, Rendered]:
    """Render a manuscript to a file, with its record and figures beside it; without ``out`` to its name without
    ``.j2``. Raises `UnusableInput`; nothing is then written."""
    if not manuscript.name:
        raise unusable(str(manuscript), "is no file", "name a manuscript")
    target = out or manuscript.with_name(manuscript.name.removesuffix(".j2"))
    if target.name == manuscript.name and target.resolve() == manuscript.resolve():
        raise unusable(manuscript, "would be written over", "let its name end in .j2, or name --out")
    done = render(manuscript, store, Comparison(store), case, out=target.name)
    _may_write(target, done)
    write(target, done)
    return target, done


def _may_write(target: Path, done: Rendered) -> None:
    """Refuse to write over a text that somebody has worked on, other than to what it says already, as it does where an
    earlier run ended before it wrote the record. Raises `UnusableInput`."""
    if target.is_dir():
        raise unusable(target, "is a folder", "name a file with --out")
    if not target.exists():
        return
    try:
        found = read_regular(target).decode("utf-8", "replace").replace("\r\n", "\n")
    except OSError as error:
        raise unusable(target, f"cannot be read: {error.strerror}", "name another --out") from None
    if found == done.text:
        return
    try:
        rendered = read_record(record_path(target)).text
    except UnusableInput:
        raise unusable(target, "is no rendered manuscript", "remove it, or name another --out") from None
    if found != rendered:
        fix = "move what you changed into the manuscript and remove the file, or name another --out"
        raise unusable(target, "was changed by hand since it was rendered", fix)


def write(target: Path, done: Rendered) -> None:
    """Write a rendered manuscript: its figures, its text, and last the record, which says that all is there."""
    contents = {target.parent / path: data for path, data in done.figures.items()}
    write_files(contents | {target: done.text.encode(), record_path(target): record_json(done.record).encode()})


def check_file(rendered: Path, store: Store, comparison: Comparison) -> Verdict:
    """Hold a rendered manuscript against the rules. Raises `UnusableInput`."""
    record = read_record(record_path(rendered))
    try:
        text = read_regular(rendered).decode("utf-8-sig")
    except OSError as error:
        raise unusable(rendered, f"cannot be read: {error.strerror}", "name a rendered manuscript") from None
    except UnicodeDecodeError:
        raise unusable(rendered, "is not UTF-8", "save it as UTF-8") from None
    return stale(text, record, store, comparison)


def text_verdicts(verdicts: Sequence[tuple[Path, Verdict]]) -> str:
    """What the checks found, for people."""
    lines = []
    for path, verdict in verdicts:
        for one in verdict.stale:
            lines += _told(path, one)
        held = f"{verdict.holding} passage{'s' * (verdict.holding != 1)} of {path} hold{'s' * (verdict.holding == 1)}"
        gone = f"; {verdict.gone} no longer stand in it" if verdict.gone else ""
        count = len(verdict.stale)
        lines.append(f"{held}, {count} no longer {'do' if count != 1 else 'does'}{gone}" if count else held + gone)
    return "\n".join(lines)


_WORDS = {
    "value": ("reads", "the rules now say"),
    "citation": ("cites", "the rules now rest on"),
    "standing": ("rested on a value that was", "which is now"),
    "figure": ("shows", "which"),
    "contested": ("reads", "but this is now contested:"),
    "unanswered": ("reads", "but the rules no longer give this:"),
    "edited": ("should read", "was changed by hand and reads"),
}


def _told(path: Path, one: Stale) -> list[str]:
    place = f"{path}:{one.line}" if one.line else f"{path} (line {one.source_line} of the manuscript)"
    was, now = (_quoted(text) for text in (one.was, one.now))
    first, second = _WORDS[one.kind]
    about = one.about if len(one.about) <= SHORT else f"{one.about[:SHORT].rstrip(' ,')} …)"
    lines = [f"{place}: {one.kind}: {about}", f"    {first} {was}"]
    lines.append(f"    {second} {one.now if one.kind in ('contested', 'unanswered') else now}")
    return [*lines, f"    fix: {one.fix}"]


def _quoted(text: str) -> str:
    short = text if len(text) <= LONG else text[:LONG].rstrip() + " …"
    return "\n      ".join(line.strip() for line in short.split("\n")) if short.strip() else "nothing"


def json_verdicts(verdicts: Sequence[tuple[Path, Verdict]]) -> str:
    """What the checks found, as JSON."""
    return dump(
        {
            "files": [
                {
                    "file": str(path),
                    "holding": verdict.holding,
                    "gone": verdict.gone,
                    "stale": [
                        {
                            "line": one.line,
                            "manuscript-line": one.source_line,
                            "kind": one.kind,
                            "about": one.about,
                            "was": one.was,
                            "now": one.now,
                            "fix": one.fix,
                        }
                        for one in verdict.stale
                    ],
                }
                for path, verdict in verdicts
            ]
        }
    )


def functions_text() -> str:
    """What a manuscript may call, with an example each: the documentation of `Functions`."""
    module = inspect.cleandoc(inspect.getmodule(Functions).__doc__ or "")
    parts = [module.partition("\n\n")[2]]
    for name in NAMES:
        told, _, example = inspect.cleandoc(getattr(Functions, name).__doc__).partition("\n\n")
        parts.append(f"{name}\n{indent(told, '  ')}\n\n{indent(example, '      ')}")
    parts.append(
        "In LaTeX write \\VAR{…}, \\BLOCK{…} and \\#{…} for {{ … }}, {% … %} and {# … #}, load the package svg for\n"
        "figures, and set it with LuaLaTeX or XeLaTeX, since titles come in many scripts. The ending of the name\n"
        "before .j2 tells the format: md, html or tex; anything else is plain text."
    )
    return "\n\n".join(parts)
