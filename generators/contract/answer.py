"""Answer one question about a case from the rule export, with nothing but the standard library of Python.

python answer.py rules.json spacer-thickness arch=maxillary impression-material=polyether
"""

import json
import sys
from typing import Any


def answer(export: dict[str, Any], parameter: str, case: dict[str, str]) -> tuple[str, dict[str, Any] | None]:
    """Why there is a value or none, and the value."""
    broader = {concept["id"]: concept.get("broader") for concept in export["concepts"]}
    origins = {source["id"]: source.get("origins", []) for source in export["sources"]}

    def covers(wider: dict[str, str], narrower: dict[str, str]) -> bool:
        return all(axis in narrower and above(concept, narrower[axis]) for axis, concept in wider.items())

    def above(concept: str, below: str | None) -> bool:
        return below is not None and (below == concept or above(concept, broader[below]))

    def nearest(records: list[dict[str, Any]], rivals: Any) -> list[dict[str, Any]]:
        """Less every record with a rival for a narrower case: one that its own case covers and that is not the same."""
        return [
            record
            for record in records
            if not any(
                rivals(record, other) and other["when"] != record["when"] and covers(record["when"], other["when"])
                for other in records
            )
        ]

    def over(table: str) -> list[dict[str, Any]]:
        return [r for r in export[table] if r["parameter"] == parameter and covers(r["when"], case)]

    def same(one: dict[str, Any], other: dict[str, Any]) -> bool:
        names = ("id", "text", "type", "steps")
        steps = [[step["step"] for step in value.get("steps", [])] for value in (one, other)]
        return steps[0] == steps[1] and all(one.get(k) == other.get(k) for k in one.keys() | other if k not in names)

    rulings = nearest(over("rulings"), lambda one, other: True)
    if rulings and all(same(ruling["value"], rulings[0]["value"]) for ruling in rulings):
        return "ruling", rulings[0]["value"]
    speaking = [claim for claim in over("claims") if "superseded-by" not in claim]
    said = nearest(speaking, lambda one, other: one["voice"] == other["voice"])
    heard = [
        claim
        for claim in said
        if not any(o["voice"] in origins.get(claim["source"], []) and same(o["value"], claim["value"]) for o in said)
    ]
    if len({claim["voice"] for claim in heard}) < 2:
        return ("single" if heard else "silent"), None
    ids = {claim["id"] for claim in heard}
    for rule in over("rules"):
        if {claim for position in rule["positions"] for claim in position["claims"]} == ids:
            return rule["standing"], rule["positions"][0] if rule["standing"] == "agreed" else None
    return "to be compared: " + ", ".join(sorted({claim["value"]["text"] for claim in heard})), None


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        basis, value = answer(json.load(file), sys.argv[2], dict(word.split("=") for word in sys.argv[3:]))
    print(basis, value and value["text"], sep=": ")
