"""The terms of the vocabulary, for people who write forms."""

from trayconcord.kb.vocabulary import Concept, Parameter, Term, Vocabulary


def terms_text(vocabulary: Vocabulary, word: str) -> str:
    """Parameters, axes and concepts whose id or names hold a word, each with what it means."""
    wanted = word.casefold()
    lines: list[str] = []
    groups: list[tuple[str, list[Term]]] = [
        ("parameters", list(vocabulary.parameters.values())),
        ("condition axes", list(vocabulary.axes.values())),
    ]
    groups += [
        (f"{scheme.label} [{scheme.id}]", list(vocabulary.in_scheme(scheme.id)))
        for scheme in vocabulary.schemes.values()
    ]
    groups += [("units", list(vocabulary.units.values())), ("kinds of source", list(vocabulary.kinds.values()))]
    for title, terms in groups:
        found = [term for term in terms if any(wanted in text.casefold() for text in (term.id, term.label, *term.alt))]
        if found:
            lines += ["", title, *(f"  {_line(term, vocabulary)}" for term in found)]
    return "\n".join(lines).strip("\n")


def _line(term: Term, vocabulary: Vocabulary) -> str:
    also = f" (also: {', '.join(term.alt)})" if term.alt else ""
    if isinstance(term, Concept) and term.notations:
        also += f" [{' '.join(term.notations)}]"
    kind = ""
    if isinstance(term, Parameter):
        unit = vocabulary.units[term.unit].symbol if term.unit else ""
        kind = f" <{term.kind}{f' in {unit}' if unit else ''}{f' from {term.scheme}' if term.scheme else ''}>"
    return f"{term.id}{kind}: {term.definition}{also}" if term.definition else f"{term.id}{kind}{also}"
