"""The glossary: the preferred term of the trade for everything in the vocabulary, and the other names it goes by."""

from dataclasses import dataclass

from trayconcord.kb.vocabulary import Term, Vocabulary


@dataclass(frozen=True)
class Group:
    """Terms of one kind, with the fragments by which they are linked; ``anchor`` links the group."""

    anchor: str
    label: str
    terms: list[tuple[str, Term]]
    chapter: str = ""
    """For the questions of a chapter, its name."""

    @property
    def short(self) -> str:
        """The name of the group in a list of its like."""
        return self.chapter or self.label


@dataclass(frozen=True)
class Glossary:
    """The groups, and the other names in alphabetical order, each with the fragment and label of its term."""

    groups: list[Group]
    others: list[tuple[str, list[tuple[str, str]]]]

    @property
    def contents(self) -> list[tuple[str, list[Group]]]:
        """The groups under headings: questions, then terms."""
        questions = [group for group in self.groups if group.chapter]
        terms = [group for group in self.groups if not group.chapter]
        return [("questions", questions), ("terms", terms)]


def glossary(vocabulary: Vocabulary) -> Glossary:
    """Parameters by chapter, then the concepts of each scheme; a concept of several schemes stands in the first."""
    groups = []
    for chapter in vocabulary.chapters.values():
        found: list[tuple[str, Term]] = [
            (f"parameter-{parameter.id}", parameter)
            for parameter in vocabulary.parameters.values()
            if parameter.chapter == chapter.id
        ]
        groups.append(Group(f"chapter-{chapter.id}", f"questions: {chapter.label}", found, chapter.label))
    seen: set[str] = set()
    for scheme in vocabulary.schemes.values():
        found = [(f"term-{c.id}", c) for c in vocabulary.in_scheme(scheme.id) if c.id not in seen]
        seen |= {term.id for _, term in found}
        groups.append(Group(f"scheme-{scheme.id}", scheme.label, found))
    others: dict[str, list[tuple[str, str]]] = {}
    for group in groups:
        for anchor, term in group.terms:
            for name in term.alt:
                others.setdefault(name, []).append((anchor, term.label))
    ordered = sorted(others.items(), key=lambda item: (item[0].casefold(), item[0]))
    return Glossary([group for group in groups if group.terms], ordered)
