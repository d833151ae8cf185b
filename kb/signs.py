"""Signs that no text of the store may hold, because no page, terminal or XML file could show or hold them."""

import re

UNUSABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
"""Control characters other than tab and line ends, halves of surrogate pairs, and what XML leaves out."""
