"""Identifiers: those that carry a check digit, and those that can name a file on every system."""

import re
from collections.abc import Iterable

_PLAIN = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_DEVICES = {
    "con", "prn", "aux", "nul", "conin$", "conout$", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10)),
}  # fmt: skip
_NOT_IN_NAMES = re.compile(r'[\x00-\x1f\x7f<>:"|?*\\]')


def isbn_is_valid(isbn: str) -> bool:
    """Whether an ISBN's check digit fits (ISO 2108: modulo 11 for ten signs, modulo 10 for thirteen).

    >>> isbn_is_valid("978-0-306-40615-7"), isbn_is_valid("0-306-40615-2"), isbn_is_valid("978-0-306-40615-1")
    (True, True, False)
    """
    signs = isbn.replace("-", "").replace(" ", "").upper()
    if not signs.isascii():
        return False
    if len(signs) == 10 and signs[:9].isdecimal() and (signs[9].isdecimal() or signs[9] == "X"):
        digits = [10 if sign == "X" else int(sign) for sign in signs]
        return sum((10 - place) * digit for place, digit in enumerate(digits)) % 11 == 0
    if len(signs) == 13 and signs.isdecimal():
        return sum(int(sign) * (3 if place % 2 else 1) for place, sign in enumerate(signs)) % 10 == 0
    return False


def is_plain(identifier: str) -> bool:
    """Whether an id is small letters, digits and single hyphens, up to 80, and no device: fit to name a file.

    >>> is_plain("smith-2016"), is_plain("../smith"), is_plain("aux")
    (True, False, False)
    """
    return bool(_PLAIN.fullmatch(identifier)) and len(identifier) <= 80 and identifier not in _DEVICES


def unfit_name(names: Iterable[str]) -> str | None:
    """The first of several file names (``folder/file``) that does not stay below its folder, or that some common
    file system cannot hold beside the others: a device, a sign that is forbidden, a name that differs only in case.

    >>> unfit_name(["a/b.ttl", "c.ttl"]), unfit_name(["../c"]), unfit_name(["a/aux.ttl"]), unfit_name(["a", "A"])
    (None, '../c', 'a/aux.ttl', 'A')
    """
    seen: set[str] = set()
    for name in names:
        parts = name.split("/")
        if name.casefold() in seen or not all(_fits(part) for part in parts):
            return name
        seen.add(name.casefold())
    return None


def _fits(part: str) -> bool:
    return not (
        not part
        or part.endswith((".", " "))
        or len(part) > 200
        or not part.isprintable()
        or _NOT_IN_NAMES.search(part)
        or part.split(".")[0].casefold() in _DEVICES
    )
