"""Ways to spoil a file: bytes that are flipped, words that are exchanged, and tokens that have hurt programs before."""

import random
import re

TOKENS = [
    # names
    "../../etc/passwd", "/etc/passwd", "CON", "aux.ttl", "nul", "C:\\x", "a/b", ".", "..", "~", "\\\\host\\share", "%s",
    # numbers
    "1e999999 mm", "9" * 5000, "-0", "NaN", "inf", "1/0 mm", "1e5", "0x10", "1_000", "١ mm", "½", "1,5 mm", "2 mm mm",
    # signs
    "\x00", "\ufeff", "\u202e", "\u200f", "\x1b[31m", "\x85", "\u2028", "\ufffe", "🦷", "e\u0301", "\\ud800", "\\udfff",
    "\\x00", "\\u0000", "\\U0010ffff", "\\U99999999", "\t", "\r", "\r\n", "\n",
    # YAML
    "&a", "*a", "<<: *a", "!!python/object/apply:os.system [id]", "!!binary ", "!!int ", "---\n", "...\n",
    "%YAML 9.9\n",
    "[", "]", "{", "}", "{{", "}}", "- ", "? ", ": ", "|", ">", "'", '"', "# ", "~", "null", "true", "@", "`", ", ",
    # Turtle, SHACL, SPARQL
    "<", ">", "_:b", "[]", "()", "( 1 )", "a", ";", ",", ".", "^^", "@en", '"""', "@prefix", "@base <file:///etc/> .",
    "owl:imports <http://127.0.0.1:9/>", '"x"^^<http://www.w3.org/2001/XMLSchema#decimal>', "1e400", "1.0",
    '"1/3"^^<http://www.w3.org/2002/07/owl#rational>', "<http://127.0.0.1:9/>", "<file:///etc/passwd>", "<../../x>",
    "sh:sparql", "sh:node", "sh:property", "sh:not", "sh:deactivated true", "SERVICE <http://127.0.0.1:9/> {}",
    "tc:min", "tc:Claim", "tc:Ruling", "tc:steps", "tc:exactly true", "tc:parameter parameter:procedure",
    # templates and scripts
    "{{ 7 * 7 }}", "{% for i in range(10**9) %}", "{{ ''.__class__.__mro__ }}", "<script>alert(1)</script>",
    "&amp;", "]]>",
    # JSON
    "null", "true", "-1", "1e999", "[]", "{}", '""', '"\\ud800"', "[" * 2000, "{" * 500,
]  # fmt: skip


def mutated(seeds: list[bytes], number: int) -> bytes:
    """The ``number``-th way to spoil one of several seeds; the same number always gives the same bytes."""
    dice = random.Random(number)
    data = bytearray(dice.choice(seeds))
    for _ in range(dice.choice([1, 1, 1, 2, 3, 7])):
        _SPOIL[dice.randrange(len(_SPOIL))](data, dice, seeds)
    if dice.random() < 0.01:
        text = bytes(data).decode("utf-8", "ignore")
        return text.encode(dice.choice(["utf-16", "utf-16-le", "utf-32", "utf-8-sig", "latin-1"]), "replace")
    return bytes(data[:60_000])


def _some(data: bytearray, dice: random.Random, longest: int = 40) -> slice:
    start = dice.randrange(len(data) + 1)
    return slice(start, start + dice.randint(0, longest))


def _delete(data: bytearray, dice: random.Random, _: list[bytes]) -> None:
    del data[_some(data, dice)]


def _insert(data: bytearray, dice: random.Random, _: list[bytes]) -> None:
    at = dice.randrange(len(data) + 1)
    data[at:at] = dice.choice(TOKENS).encode("utf-8", "surrogatepass")


def _replace(data: bytearray, dice: random.Random, _: list[bytes]) -> None:
    """Put a token in the place of a word."""
    start = dice.randrange(len(data) + 1)
    end = start
    while end < len(data) and (data[end : end + 1].isalnum() or data[end] in b"-_"):
        end += 1
    data[start:end] = dice.choice(TOKENS).encode("utf-8", "surrogatepass")


_WORD = re.compile(rb"[\w:/.#-]{2,}")


def _exchange(data: bytearray, dice: random.Random, seeds: list[bytes]) -> None:
    """Put a word of some seed in the place of another, which mostly leaves the syntax as it was."""
    here = list(_WORD.finditer(data))
    there = _WORD.findall(dice.choice(seeds))
    if here and there:
        word = dice.choice(here)
        data[word.start() : word.end()] = dice.choice(there)


def _flip(data: bytearray, dice: random.Random, _: list[bytes]) -> None:
    if data:
        data[dice.randrange(len(data))] = dice.randrange(256)


def _copy(data: bytearray, dice: random.Random, _: list[bytes]) -> None:
    at = dice.randrange(len(data) + 1)
    data[at:at] = data[_some(data, dice, 200)]


def _repeat(data: bytearray, dice: random.Random, _: list[bytes]) -> None:
    part = _some(data, dice, 12)
    data[part.start : part.start] = data[part] * dice.choice([2, 10, 300])


def _splice(data: bytearray, dice: random.Random, seeds: list[bytes]) -> None:
    other = dice.choice(seeds)
    data[_some(data, dice, 120)] = other[_some(bytearray(other), dice, 120)]


def _swap_lines(data: bytearray, dice: random.Random, _: list[bytes]) -> None:
    lines = data.split(b"\n")
    one, other = dice.randrange(len(lines)), dice.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    data[:] = b"\n".join(lines)


_SPOIL = [
    *[_exchange] * 8, *[_replace] * 3, *[_insert] * 2, _delete, _flip, _copy, _repeat, _splice, _swap_lines,
]  # fmt: skip
