"""A plan: a case in, what holds for its tray out."""

from dataclasses import dataclass

from trayconcord.kb.case_file import CaseFile
from trayconcord.kb.errors import Complaint, Place, UnusableInput
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.answers import Answers, Casebook, contradictions
from trayconcord.shapes.compare import Comparison


@dataclass(frozen=True)
class Plan:
    """The plan of a case."""

    store: Store
    comparison: Comparison
    case: CaseFile
    found: Answers


def plan(store: Store, comparison: Comparison, case: CaseFile, name: str = "the case") -> Plan:
    """The plan of a case. Raises `UnusableInput` where its conditions do not occur together."""
    refuse_contradictions(case, store.vocabulary, name)
    return Plan(store, comparison, case, Casebook(store, comparison).answers(case.when))


def refuse_contradictions(case: CaseFile, vocabulary: Vocabulary, name: str) -> None:
    """Raise `UnusableInput` where conditions of a case do not occur together."""
    clashes = contradictions(case.when, vocabulary)
    if clashes:
        labels = vocabulary.concepts
        raise UnusableInput(
            [
                Complaint(
                    Place(name),
                    f"{labels[clash.concept].label} does not go with {labels[clash.other].label}",
                    f"{vocabulary.axes[clash.axis].question} "
                    f"{labels[clash.concept].label} goes with: {', '.join(labels[c].label for c in clash.allowed)}",
                )
                for clash in clashes
            ]
        )
