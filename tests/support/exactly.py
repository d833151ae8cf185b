"""Triples with everything of them that could differ between two readers."""

from trayconcord.kb.triples import Triples


def exactly(triples: Triples) -> dict[str, list[tuple[object, ...]]]:
    """The order of telling and the signs of a literal included."""
    return {
        str(subject): [
            (predicate, type(value), str(value), getattr(value, "datatype", None), getattr(value, "language", None))
            for predicate, value in pairs
        ]
        for subject, pairs in triples.pairs.items()
    }
