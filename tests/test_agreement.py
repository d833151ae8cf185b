"""Agreement between voices, checked against published worked examples."""

import pytest

from trayconcord.kb.store import load
from trayconcord.shapes.agreement import agreement, disagreement, krippendorff_alpha
from trayconcord.shapes.compare import Comparison

OBSERVERS = {
    # Krippendorff 2011, Computing Krippendorff's Alpha-Reliability: four observers, twelve units, missing data
    "four observers": (
        [
            [1, 2, 3, 3, 2, 1, 4, 1, 2, None, None, None],
            [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, None, 3],
            [None, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, None],
            [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, None],
        ],
        0.743,
    ),
    # the same paper, binary data of two observers (recalled from memory, and reproduced)
    "binary": ([[0, 1, 0, 0, 0, 0, 0, 0, 1, 0], [1, 1, 1, 0, 0, 1, 0, 0, 0, 0]], 0.095),
    # the same paper, nominal data of two observers (recalled from memory, and reproduced)
    "nominal": ([list("aabbdcccedda"), list("babbbcccedDd".lower())], 0.692),
}


@pytest.mark.parametrize("name", OBSERVERS)
def test_alpha_is_that_of_the_published_examples(name: str) -> None:
    rows, published = OBSERVERS[name]
    units = [[value for value in column if value is not None] for column in zip(*rows, strict=True)]
    alpha = krippendorff_alpha(*disagreement(units))
    assert alpha is not None
    assert round(float(alpha), 3) == published


def test_alpha_is_not_defined_without_variation_or_pairs() -> None:
    assert krippendorff_alpha(*disagreement([["a", "a"], ["a", "a"]])) is None
    assert krippendorff_alpha(*disagreement([["a"], ["b"]])) is None


def test_quantities_get_no_alpha_and_shares_lie_between_none_and_all() -> None:
    chapters = agreement(Comparison(load()))
    assert chapters
    for whole, questions in chapters:
        assert whole.pairs == sum(question.pairs for question in questions)
        for question in questions:
            assert question.share is not None and 0 <= question.share <= 1
            if question.about.kind in ("interval", "count", "set", "order"):  # type: ignore[attr-defined]
                assert question.alpha is None


def test_a_question_on_which_all_agree_has_all_pairs_compatible() -> None:
    questions = {q.about.id: q for _, qs in agreement(Comparison(load())) for q in qs}
    assert questions["border-clearance"].share == 1
    fit = questions["tray-fit"].share
    assert fit is not None and fit < 1
