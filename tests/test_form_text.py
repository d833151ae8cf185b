"""The way back: a source of the store printed as the form that it came from."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from trayconcord.generators.entry import enter
from trayconcord.kb.form_text import form_text
from trayconcord.kb.model import Claim, Source, default_id, in_order
from trayconcord.kb.store import shipped
from trayconcord.kb.values import Choice, Membership, Nothing, Quantity, Steps, YesNo

text_values = st.text(st.characters(blacklist_categories=["Cs", "Cc"]), max_size=60).map(
    lambda text: " ".join(text.split())
).filter(bool) | st.sampled_from(
    ["yes", "null", "~", "010", "1e3", "2024-05-12", "- x", "a: b", "# x", "'", '"', "[a", "<<", "!"]
)
optional = st.just("") | text_values
ids = st.from_regex(r"[a-z0-9]{1,8}(-[a-z0-9]{1,8}){0,2}", fullmatch=True).filter(lambda word: len(word) > 4)
sources = st.builds(
    Source,
    id=ids,
    title=text_values,
    authors=st.lists(text_values, max_size=3).map(tuple),
    year=st.just(0) | st.integers(1700, 2100),
    kind=st.sampled_from(["textbook", "common-practice"]),
    container=optional,
    doi=st.sampled_from(["", "10.1000/xyz123", "10.1000/a:b#c"]),
    isbn=optional,
    language=st.sampled_from(["", "en", "no", "pt-BR"]),
    withdrawn=optional,
    edition_of=st.just("") | ids,
    compiled_from=st.frozensets(ids, max_size=3).map(lambda names: tuple(sorted(names))),
    note=optional,
)


@st.composite
def claims_of(draw, source, vocabulary):
    """Up to six claims of a source, each about another parameter."""
    parameters = draw(
        st.lists(st.sampled_from(list(vocabulary.parameters.values())), max_size=6, unique_by=lambda p: p.id)
    )
    result = []
    for parameter in parameters:
        members = [concept.id for concept in vocabulary.in_scheme(parameter.scheme)] if parameter.scheme else []
        printed = ""
        if parameter.kind == "yes-no":
            value = YesNo(draw(st.booleans()))
        elif parameter.kind == "choice":
            value = Choice(draw(st.sampled_from(members)))
        elif parameter.kind == "order":
            value = Steps(tuple(draw(st.lists(st.sampled_from(members), min_size=2, max_size=4, unique=True))))
        elif parameter.kind == "set":
            chosen = draw(st.lists(st.sampled_from(members), min_size=2, max_size=4, unique=True))
            value = draw(
                st.sampled_from(
                    [
                        Nothing(),
                        Membership(frozenset(chosen), frozenset(), True),
                        Membership(frozenset(chosen[:1]), frozenset(chosen[1:]), False),
                        Membership(frozenset(), frozenset(chosen), False),
                    ]
                )
            )
        else:
            number = draw(st.integers(0, 20))
            value, printed = Quantity(Fraction(number), None, parameter.unit), f"at least {number}"
            if parameter.kind == "interval":
                printed = f"{printed} {vocabulary.units[parameter.unit].symbol}".replace(" :", ":").rstrip()
        when = {
            axis: draw(st.sampled_from([concept.id for concept in vocabulary.in_scheme(vocabulary.axes[axis].scheme)]))
            for axis in draw(st.lists(st.sampled_from(list(vocabulary.axes)), max_size=3, unique=True))
        }
        scope = in_order(when, vocabulary)
        obtained = draw(st.sampled_from(["", "read", "reported", "recalled", "practice"]))
        result.append(
            Claim(
                id=draw(
                    st.sampled_from([default_id(source.id, parameter.id, scope), f"{source.id}/own/{parameter.id}"])
                ),
                source=source.id,
                parameter=parameter.id,
                when=scope,
                value=value,
                printed=printed,
                at=draw(optional),
                obtained=obtained,
                reported_by=draw(ids) if obtained == "reported" else "",
                note=draw(optional),
            )
        )
    return result


@settings(max_examples=60)
@given(data=st.data())
def test_any_source_printed_as_a_form_is_read_as_the_same_source(reading, vocabulary, data):
    source = data.draw(sources)
    claims = data.draw(claims_of(source, vocabulary))
    form = reading(form_text(source, claims))
    assert form.source == source
    assert form.claims == claims


def test_every_shipped_source_comes_back_through_its_form_byte_for_byte(tmp_path, shipped_store):
    """Printed as a form, read, entered into an empty store: the files are those that ship."""
    paths = []
    for source in shipped_store.sources.values():
        path = tmp_path / f"{source.id}.yaml"
        path.write_text(form_text(source, shipped_store.claims_of(source.id)), encoding="utf-8")
        paths.append(path)
    target = tmp_path / "store"
    entered = enter(paths, [target], True, target)
    for form in entered.forms:
        assert form.source == shipped_store.sources[form.source.id]
        assert sorted(form.claims, key=lambda claim: claim.id) == shipped_store.claims_of(form.source.id)
    files = {path.name: path.read_bytes() for path in (target / "sources").iterdir()}
    assert files == {path.name: path.read_bytes() for path in shipped().glob("sources/*.ttl")}
    assert entered.store.claims == shipped_store.claims
