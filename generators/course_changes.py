"""What changed in what a course teaches and how it marks, told part by part: taught cases and the marking policy."""

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

from trayconcord.generators.changes import Change, Labels, Record
from trayconcord.kb.grammar import range_text
from trayconcord.kb.marking import LEFT_OUT
from trayconcord.kb.marking_form import number_text
from trayconcord.kb.values import terminating

NOTHING = "none"
"""What stands for a part that is not said."""

Part = tuple[str, Callable[[Record], str]]
"""A part of a record: what it is called, and how it is put; empty where the record does not say it."""


def case_line(change: Change, labels: Labels) -> str:
    """A taught case that is new, gone or altered, without its sign."""
    name = _case_name(change.present)
    parts: list[Part] = [
        ("name", lambda record: f"“{_case_name(record)}”"),
        ("conditions", lambda record: _conditions(record) or "any tray"),
    ]
    if change.before is None or change.after is None:
        asked = labels.all("parameters", change.present["asks"])
        conditions = _conditions(change.present)
        return name + (f" ({conditions})" if conditions else "") + (f": asks for {asked}" if asked else "")
    told = _altered(change, parts)
    told += [
        f"{word} {labels.all('parameters', asked)}"
        for word, asked in (
            ("now asks for", _without(change.after["asks"], change.before["asks"])),
            ("no longer asks for", _without(change.before["asks"], change.after["asks"])),
        )
        if asked
    ]
    return f"{name}: {'; '.join(told)}"


def marking_line(change: Change, labels: Labels) -> str:
    """The policy itself, or an item of it, that is new, gone or altered, without its sign."""
    if change.present["type"] == "MarkingItem":
        conditions = _conditions(change.present)
        name = labels.of("parameters", change.present["parameter"]) + (f" for {conditions}" if conditions else "")
        parts = _item_parts(labels)
    else:
        name, parts = "the policy", _POLICY_PARTS
    if change.before is None or change.after is None:
        told = [f"{what} {text}" for what, text in ((what, put(change.present)) for what, put in parts) if text]
    else:
        told = _altered(change, parts)
    return f"{name}: {'; '.join(told)}"


def _altered(change: Change, parts: Iterable[Part]) -> list[str]:
    """Each part that differs, with what it was and what it is."""
    assert change.before is not None and change.after is not None
    pairs = [(what, put(change.before), put(change.after)) for what, put in parts]
    return [f"{what} {was or NOTHING} → {now or NOTHING}" for what, was, now in pairs if was != now]


def _case_name(record: Record) -> str:
    return str(record.get("label") or record["id"])


def _conditions(record: Record) -> str:
    return str(record.get("conditions") or ", ".join(map(str, record["when"].values())))


def _without(asked: list[str], others: list[str]) -> list[str]:
    return [parameter for parameter in asked if parameter not in others]


def _item_parts(labels: Labels) -> list[Part]:
    def amount(key: str) -> Callable[[Record], str]:
        return lambda record: _amount(record, key, labels)

    return [
        ("weight", _number("weight")),
        (
            "tolerance",
            lambda record: _amount(record, "tolerance-quantity", labels) or _share("tolerance-share")(record),
        ),
        ("uncertainty", amount("uncertainty")),
        ("credit when borderline", _number("borderline-credit")),
        ("sites", lambda record: labels.all("concepts", record["sites"])),
    ]


def _amount(record: Record, key: str, labels: Labels) -> str:
    number = exact(record[key]) if key in record else None
    return "" if number is None else range_text(number, number, labels.of("units", str(record.get("unit", ""))))


def _number(key: str) -> Callable[[Record], str]:
    return lambda record: number_text(exact(record[key])) if key in record else ""


def _share(key: str) -> Callable[[Record], str]:
    """In per cent, or as a fraction where per cent do not end."""

    def put(record: Record) -> str:
        if key not in record:
            return ""
        share = exact(record[key])
        return f"{number_text(share * 100)} %" if terminating(share) else number_text(share)

    return put


_POLICY_PARTS: list[Part] = [
    ("pass mark", _share("pass-mark")),
    ("credit when borderline", _number("borderline-credit")),
    ("what was not measured", lambda record: "left out" if record["unmeasured"] == LEFT_OUT else "counts as nothing"),
    ("decided on", lambda record: str(record.get("decided-on", ""))),
    ("decided by", lambda record: str(record.get("decided-by", ""))),
]


def exact(part: Any) -> Fraction:
    """A number of an export: decimals as text, or an object with numerator and denominator."""
    return Fraction(part["@value"] if isinstance(part, dict) else part)
