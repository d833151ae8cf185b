"""The bank of items as text, CSV and JSON, with the citations behind every key."""

from importlib.metadata import version
from typing import Any

from trayconcord.generators.csv_text import csv_text
from trayconcord.generators.item_making import KIND_LABELS
from trayconcord.generators.items import Item, Option
from trayconcord.generators.value_json import dump
from trayconcord.generators.withdrawn import Gone
from trayconcord.kb.model import Ruling
from trayconcord.kb.store import Store
from trayconcord.shapes.wording import citation

LEVEL_NOTE = "The level is estimated from how an item is made; it is not measured on students."


def explanation(item: Item) -> str:
    """Why the key is right, in one sentence."""
    record = item.answer.records[0] if item.answer.records else None
    if item.basis == "ruling" and isinstance(record, Ruling):
        return f"The course has ruled so: {record.because}" if record.because else "The course has ruled so."
    if item.answer.error:
        return f"No source says so. {item.answer.origin}"
    if item.kind in ("outside", "unnamed"):
        return f"No source supports it for this case: it is {item.answer.origin}."
    return f"{_voices(item.voices)}; none contradicts it in this case or any case within it."


def _voices(number: int) -> str:
    return "One voice says so" if number == 1 else f"{number} voices say so"


def item_json(item: Item, store: Store) -> dict[str, Any]:
    """One item as a JSON object."""
    return {
        "id": item.id,
        "kind": item.kind,
        "parameter": item.parameter.id,
        "chapter": item.parameter.chapter,
        "when": dict(item.when),
        "topic": item.topic,
        "basis": item.basis,
        "level": item.level,
        "voices": item.voices,
        "case": item.case,
        "stem": item.stem,
        "question": item.question,
        "options": [
            {
                "letter": letter,
                "text": option.text,
                "right": right,
                "records": [record.id for record in option.records],
                "why": "" if right else option.origin,
            }
            for letter, option, right in item.lettered
        ],
        "key": item.letter,
        "answer": item.answer.text,
        "explanation": explanation(item),
        "citations": [citation(record, store) for record in item.answer.records],
    }


def items_json(items: list[Item], gone: list[Gone], revised: list[tuple[Item, str]], store: Store, seed: int) -> str:
    """The bank as JSON; the next build reads it to say what it withdraws."""
    return dump(
        {
            "format": 1,
            "version": version("trayconcord"),
            "seed": seed,
            "note": LEVEL_NOTE,
            "items": [item_json(item, store) for item in items],
            "withdrawn": [
                {name: getattr(entry, name) for name in ("id", "question", "answer", "parameter", "when", "reason")}
                for entry in gone
            ],
            "revised": [{"id": item.id, "before": before, "now": item.answer.text} for item, before in revised],
        }
    )


COLUMNS = ("id", "chapter", "level", "kind", "topic", "basis", "voices", "case", "stem")


def items_csv(items: list[Item], store: Store) -> str:
    """One line per item (RFC 4180); a fourth option that an item does not have is empty."""
    rows = []
    for item in items:
        known = item_json(item, store)
        texts = [option.text for option in item.options] + [""] * (4 - len(item.options))
        row = [*(known[name] for name in COLUMNS), *texts, item.letter, item.answer.text, known["explanation"]]
        rows.append([*row, "; ".join(known["citations"])])
    return csv_text([*COLUMNS, "A", "B", "C", "D", "key", "answer", "explanation", "citations"], rows)


def items_text(items: list[Item], gone: list[Gone], store: Store) -> str:
    """The items to read: question, options, key, and why."""
    lines: list[str] = []
    for item in items:
        lines.append(f"{item.id}  [{item.level}, {KIND_LABELS[item.kind]}]")
        lines.append(f"  {item.question}")
        for letter, option, right in item.lettered:
            lines.append(
                f"    {letter}  {option.text}" + ("" if right else f"  ({option.origin})" if option.origin else "")
            )
        lines.append(f"  key {item.letter}. {explanation(item)} {cited(item.answer, store)}".rstrip())
        lines.append("")
    lines.append(f"{len(items)} item{'s' if len(items) != 1 else ''}. {LEVEL_NOTE}")
    lines += [f"withdrawn {entry.id}: {entry.reason}" for entry in gone]
    return "\n".join(lines)


def cited(option: Option, store: Store) -> str:
    """The citations of an option in brackets; empty without any."""
    texts = list(dict.fromkeys(citation(record, store) for record in option.records))
    return f"[{'; '.join(texts)}]" if texts else ""
