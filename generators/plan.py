"""A plan: a case in, what holds for its tray out."""

from dataclasses import dataclass

from trayconcord.kb.case_file import CaseFile
from trayconcord.kb.errors import Complaint, Place, UnusableInput
from trayconcord.kb.store import Store
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
    vocabulary = store.vocabulary
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
    return Plan(store, comparison, case, Casebook(store, comparison).answers(case.when))
