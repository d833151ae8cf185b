"""Invariants of the data that ships: what every record must carry, and what may be there at all."""

from trayconcord.kb.model import concepts_in, default_id, in_order


def test_the_shipped_store_is_of_some_size(shipped_store):
    """The aims set for the first release."""
    assert len(shipped_store.claims) >= 450
    assert len({claim.source for claim in shipped_store.claims}) >= 140
    assert len({claim.parameter for claim in shipped_store.claims}) >= 45


def test_every_shipped_claim_can_be_read(shipped_store):
    assert [(claim.id, claim.troubles) for claim in shipped_store.claims if claim.troubles] == []
    assert all(claim.value is not None for claim in shipped_store.claims)


def test_every_shipped_claim_names_recorded_sources(shipped_store):
    cited = {claim.source for claim in shipped_store.claims} | {claim.reported_by for claim in shipped_store.claims}
    for source in shipped_store.sources.values():
        cited |= {source.edition_of, *source.compiled_from}
    assert cited - {""} <= set(shipped_store.sources)


def test_every_shipped_source_has_title_and_kind(shipped_store):
    for source in shipped_store.sources.values():
        assert source.title, source.id
        assert source.kind in shipped_store.vocabulary.kinds, source.id


def test_every_claim_stands_in_the_file_of_its_source(shipped_store):
    for claim in shipped_store.claims:
        assert shipped_store.place_of_claim(claim.id).file == f"kb/sources/{claim.source}.ttl"
        assert claim.id.startswith(f"{claim.source}/")


def test_conditions_stand_in_the_order_of_the_vocabulary(shipped_store):
    for claim in shipped_store.claims:
        assert claim.when == in_order(dict(claim.when), shipped_store.vocabulary)


def test_most_claims_go_by_the_id_that_follows_from_what_they_say(shipped_store):
    """An id of one's own is for the second claim under the same conditions."""
    default = {claim.id for claim in shipped_store.claims}
    for claim in shipped_store.claims:
        assert default_id(claim.source, claim.parameter, claim.when) in default or claim.id.count("/") >= 2


def test_the_shipped_store_carries_no_rulings_and_no_cases(shipped_store):
    assert shipped_store.rulings == []
    assert shipped_store.cases == []


def test_every_claim_has_a_place_or_says_why_not(shipped_store):
    """What is recalled or common practice has none; anything else without a place explains itself in a note."""
    unplaced = [claim for claim in shipped_store.claims if not claim.at]
    assert [claim.id for claim in unplaced if claim.obtained not in ("recalled", "practice") and not claim.note] == []


def test_every_source_is_cited(shipped_store):
    cited = {claim.source for claim in shipped_store.claims} | {claim.reported_by for claim in shipped_store.claims}
    for source in shipped_store.sources.values():
        cited |= {source.edition_of, *source.compiled_from}
    for caution in shipped_store.vocabulary.cautions.values():
        cited |= set(caution.sources)
    assert sorted(set(shipped_store.sources) - cited) == []


def test_every_concept_is_used_or_says_why_it_is_kept(shipped_store):
    """A use is a claim, a caution, the cover of a standard, or a concept below it that is used. One that is marked as
    kept and used all the same fails too."""
    vocabulary = shipped_store.vocabulary
    named = {concept for claim in shipped_store.claims for concept in concepts_in(claim)}
    named |= {concept for caution in vocabulary.cautions.values() for concept in caution.arises_from}
    named |= {related for concept in vocabulary.concepts.values() for related in concept.related}
    used = {above for concept in named for above in vocabulary.above[concept]}
    kept = {concept.id for concept in vocabulary.concepts.values() if concept.kept}
    assert sorted(set(vocabulary.concepts) - used - kept) == [], "used nowhere and not marked as kept"
    assert sorted(used & kept) == [], "marked as kept, and used"
