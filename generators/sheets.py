"""Study sheets: for one arch, chapter by chapter, what holds and where the sources differ."""

from dataclasses import dataclass

from trayconcord.generators.charts import letter
from trayconcord.generators.references import ReferenceList
from trayconcord.kb.model import Claim, Ruling, Scope, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Parameter, Term, Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.scopes import covers, meet
from trayconcord.shapes.wording import comparable_text, scope_text, stated_text


@dataclass(frozen=True)
class Answer:
    """One line of a sheet: a case, what holds in it, and the numbers of the references."""

    case: str
    standing: str
    value: str
    because: str
    choices: list[tuple[str, str, list[int]]]
    references: list[int]


@dataclass(frozen=True)
class Entry:
    """A parameter of a sheet with its answers."""

    parameter: Parameter
    answers: list[Answer]


@dataclass(frozen=True)
class Chapter:
    """A chapter of a sheet."""

    chapter: Term
    entries: list[Entry]


def claims_about(arch: str, store: Store) -> list[Claim]:
    """The claims that bear on an edentulous arch."""
    here = in_order({"arch": arch, "dentition": "edentulous"}, store.vocabulary)
    return [c for c in store.claims if c.value is not None and meet(here, c.when, store.vocabulary) is not None]


def study_sheet(comparison: Comparison, store: Store, arch: str, references: ReferenceList) -> list[Chapter]:
    """The sheet of an edentulous arch. A case whose answer is that of a more general line is left out."""
    vocabulary = store.vocabulary
    here = in_order({"arch": arch, "dentition": "edentulous"}, vocabulary)
    scopes: dict[str, set[Scope]] = {}
    records: list[Claim | Ruling] = [*claims_about(arch, store)]
    records += [ruling for ruling in store.rulings if ruling.value is not None]  # also on a case that no source states
    for record in records:
        common = meet(here, record.when, vocabulary)
        if common is not None:
            scopes.setdefault(record.parameter, set()).add(common)
    chapters = []
    for chapter in vocabulary.chapters.values():
        entries = []
        for parameter in vocabulary.parameters.values():
            if parameter.chapter == chapter.id and parameter.id in scopes:
                answers = _answers(comparison, parameter, scopes[parameter.id], here, references)
                if answers:
                    entries.append(Entry(parameter, answers))
        if entries:
            chapters.append(Chapter(chapter, entries))
    return chapters


def _answers(
    comparison: Comparison, parameter: Parameter, scopes: set[Scope], here: Scope, references: ReferenceList
) -> list[Answer]:
    vocabulary = comparison.vocabulary
    ordered = sorted(scopes, key=lambda scope: (len(scope), _reading_order(scope, vocabulary)))
    topics: list[Topic] = []
    for scope in ordered:
        topic = comparison.at(parameter.id, scope)
        if (topic.claims or topic.ruling) and not any(_says_the_same(topic, other, vocabulary) for other in topics):
            topics.append(topic)
    return [_answer(topic, here, vocabulary, references) for topic in topics]


def _says_the_same(topic: Topic, general: Topic, vocabulary: Vocabulary) -> bool:
    """Whether the answer to a case is that of a more general line, so that it need not be said again."""
    return (
        covers(general.when, topic.when, vocabulary)
        and (topic.standing, topic.ruling) == (general.standing, general.ruling)
        and [p.value for p in topic.positions] == [p.value for p in general.positions]
    )


def _answer(topic: Topic, here: Scope, vocabulary: Vocabulary, references: ReferenceList) -> Answer:
    case = scope_text(tuple(condition for condition in topic.when if condition not in here), vocabulary)
    choices = [
        (
            letter(number),
            comparable_text(position.value, topic.parameter, vocabulary),
            sorted(references.number(source) for source in position.sources),
        )
        for number, position in enumerate(topic.positions)
    ]
    ruling = topic.ruling
    return Answer(
        case=case or "in general",
        standing="ruled" if ruling else topic.standing,
        value=stated_text(ruling, vocabulary) if ruling else choices[0][1],
        because=ruling.because if ruling else "",
        choices=choices,
        references=sorted({number for _, _, numbers in choices for number in numbers}),
    )


def _reading_order(scope: Scope, vocabulary: Vocabulary) -> list[tuple[int, int]]:
    return [(vocabulary.axes[axis].order, vocabulary.concepts[concept].order) for axis, concept in scope]
