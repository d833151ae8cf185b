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

    def above(concept: str, below: str | None) -> bool:
        return below is not None and (below == concept or above(concept, broader[below]))

    def covers(wider: dict[str, str], narrower: dict[str, str]) -> bool:
        return all(a in narrower and above(concept, narrower[a]) for a, concept in wider.items())

    def narrower(one: dict[str, Any], other: dict[str, Any]) -> bool:
        return one["when"] != other["when"] and covers(other["when"], one["when"])

    def over(table: str) -> list[dict[str, Any]]:
        return [r for r in export[table] if r["parameter"] == parameter and covers(r["when"], case)]

    def same(one: dict[str, Any], other: dict[str, Any]) -> bool:
        return meaning(one) == meaning(other)

    def meaning(value: dict[str, Any]) -> dict[str, Any]:
        told = {k: part for k, part in value.items() if k not in ("id", "text", "type")}
        return told | {"steps": [step["step"] for step in value.get("steps", [])]}

    over_case = over("rulings")
    rulings = [one for one in over_case if not any(narrower(other, one) for other in over_case)]
    if rulings and all(same(ruling["value"], rulings[0]["value"]) for ruling in rulings):
        return "ruling", rulings[0]["value"]
    if rulings:
        return "tied rulings", None
    speaking = [claim for claim in over("claims") if "superseded-by" not in claim]
    said = [
        one
        for one in speaking
        if not any(other["voice"] == one["voice"] and narrower(other, one) for other in speaking)
    ]
    repeated = {
        one["id"]
        for one in said
        for other in said
        if other["voice"] in origins.get(one["source"], []) and same(other["value"], one["value"])
    }
    heard = [claim for claim in said if claim["id"] not in repeated]
    if len({claim["voice"] for claim in heard}) < 2:
        return ("single" if heard else "silent"), None
    ids = {claim["id"] for claim in heard}
    for rule in over("rules"):
        if {claim for position in rule["positions"] for claim in position["claims"]} == ids:
            return rule["standing"], rule["positions"][0] if rule["standing"] == "agreed" else None
    texts = sorted({claim["value"]["text"] for claim in heard})
    return f"to be compared: {', '.join(texts)}", None


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        basis, value = answer(json.load(file), sys.argv[2], dict(word.split("=") for word in sys.argv[3:]))
    print(basis, value and value["text"], sep=": ")
