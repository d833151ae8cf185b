"""The apparatus of a manuscript: cautions, glossary and references, which speak of all that the manuscript uses."""

from collections.abc import Sequence

from trayconcord.generators.bench_card import concerns
from trayconcord.generators.figures.drawing import Figure
from trayconcord.generators.manuscripts.asking import Asker, Said
from trayconcord.generators.manuscripts.citations import marked
from trayconcord.generators.manuscripts.formats import Format
from trayconcord.generators.sheet_markdown import AUTHORITY
from trayconcord.kb.model import Scope
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Caution, Term
from trayconcord.shapes.compare import Comparison


class Apparatus(Asker):
    """What stands around the text. ``before`` is that of the pass before, which knows what the manuscript comes to use:
    so reference list, cautions and glossary may stand anywhere."""

    def __init__(
        self, store: Store, comparison: Comparison, case: Scope, form: Format, folder: str,
        before: "Apparatus | None" = None,
    ) -> None:  # fmt: skip
        super().__init__(store, comparison, case, form)
        self.folder, self.before = folder, before
        self.listed, self.warned = False, set[str]()
        self.drawn: dict[Scope, dict[str, Figure]] = before.drawn if before else {}

    @property
    def settled(self) -> bool:
        """Whether this pass came to use just what the one before did, so that another would print the same."""
        return self.before is not None and self._used == self.before._used

    @property
    def _used(self) -> tuple[object, ...]:
        return self.citations.order, self.concepts, self.cases, self.named

    def cautions(self, *about: str) -> Said:
        """The usual cautions: for parameters, materials, steps or cautions by id, or else for all that the manuscript
        uses. They may stand anywhere.

        {{ cautions() }} {{ cautions("autopolymerising-resin") }}
        """
        found: list[Caution] = self._cautions_for(about) if about else self._cautions_used()
        self.warned |= {caution.id for caution in found}
        items = []
        for caution in found:
            label = self.form.strong(self.form.escape(caution.label[0].upper() + caution.label[1:] + "."))
            text = f"{label} {self.form.escape(caution.definition)}"
            text += f" GHS {self.form.escape(', '.join(caution.hazards))}." if caution.hazards else ""
            known = [source for source in caution.sources if source in self.store.sources]
            text += f" {marked([self.citations.source_key(source) for source in known])}" if known else ""
            items.append(text if caution.sources else f"{text} (Common practice.)")
        return Said(self.form.bullets([*items, self.form.escape(AUTHORITY)]))

    def _cautions_for(self, about: Sequence[str]) -> list[Caution]:
        known: dict[str, Term] = {**self.vocabulary.cautions, **self.vocabulary.concepts, **self.vocabulary.parameters}
        wanted, concepts = set[str](), set[str]()
        for word in about:
            name = self.known(word, "caution, material, step or parameter", known)
            if name in self.vocabulary.cautions:
                wanted.add(name)
            elif name in self.vocabulary.concepts:
                concepts.add(name)
            else:
                before = set(self.concepts)
                self.topic(self.vocabulary.parameters[name], self.case)
                concepts |= self.concepts - before
        return self.vocabulary.cautions_among(wanted | {c.id for c in self.vocabulary.cautions_for(concepts)})

    def _cautions_used(self) -> list[Caution]:
        seen = self.before or self
        found = self.vocabulary.cautions_for(seen.concepts)
        return [c for c in found if any(concerns(c, case, self.vocabulary) for case in seen.cases or [self.case])]

    def unwarned(self) -> list[Caution]:
        """The cautions that what the manuscript uses calls for, and that it shows nowhere."""
        return [caution for caution in self._cautions_used() if caution.id not in self.warned]

    def term(self, word: str) -> Said:
        """The preferred term for anything in the vocabulary, by its id or any other name it goes by.

        Mix the {{ term("alginate") }}.
        """
        found = self._term(word)
        if found not in self.named:
            self.named.append(found)
        return Said(self.form.escape(found.label))

    def _term(self, word: object) -> Term:
        among: dict[str, Term] = {**self.vocabulary.concepts, **self.vocabulary.parameters}
        folded = word.casefold() if isinstance(word, str) else None
        for term in among.values():
            if folded in (term.id, *(name.casefold() for name in (term.label, *term.alt))):
                return term
        return among[self.known(word, "term", among)]

    def glossary(self, *words: str) -> Said:
        """Terms with their other names and definitions: those given, or else those that term() names anywhere.

        {{ glossary("border-moulding", "spacer-thickness") }}
        """
        chosen = dict.fromkeys(map(self._term, words)) if words else (self.before or self).named
        items = []
        for term in sorted(chosen, key=lambda term: (term.label.casefold(), term.id)):
            text = self.form.strong(self.form.escape(term.label))
            text += " " + self.form.escape("(also " + ", ".join(term.alt) + ")") if term.alt else ""
            items.append(f"{text}: {self.form.escape(term.definition)}" if term.definition else text)
        return Said(self.form.bullets(items))

    def references(self) -> Said:
        """The list of what the manuscript cites, in the order of first use. It may stand anywhere.

        {{ cite("frenum-relief") }} {{ references() }}
        """
        self.listed = True
        return Said(self.form.references((self.before or self).citations.entries()))
