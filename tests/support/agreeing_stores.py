"""Random stores on which sources mostly agree, so that questions can be asked of them: hypothesis strategies."""

from fractions import Fraction

from hypothesis import strategies as st

from trayconcord.kb.model import Claim, Ruling, Scope, Source, in_order
from trayconcord.kb.store import Store, load
from trayconcord.kb.triples import Triples
from trayconcord.kb.values import Choice, Membership, Quantity, Recorded, Steps, YesNo

VOCABULARY = load(only=True).vocabulary

CASES: list[dict[str, str]] = [
    {}, {"arch": "maxillary"}, {"arch": "mandibular"},
    {"impression-material": "elastomer"}, {"impression-material": "polyether"}, {"impression-material": "silicone"},
    {"impression-material": "impression-plaster"}, {"impression-material": "zinc-oxide-eugenol-paste"},
    {"impression-material": "polysulfide"}, {"arch": "maxillary", "impression-material": "polyether"},
]  # fmt: skip
REGIONS = [
    "residual-ridge", "ridge-crest", "ridge-slope", "hard-palate", "rugae", "canine-region", "buccal-shelf",
    "incisive-papilla",
]  # fmt: skip
STEPS = ["draw-outline", "soak-cast", "block-out-undercuts", "adapt-spacer", "cut-stops", "mix-resin"]
PARAMETERS = (
    "spacer-thickness", "stop-count", "spacer-design", "relief-areas", "finger-rest-site", "procedure", "soak-cast",
    "tray-fit",
)  # fmt: skip


def _value(parameter: str, draw: st.DrawFn, base: int) -> Recorded:
    """A value near the one that the case has for most sources."""
    kind = VOCABULARY.parameters[parameter].kind
    off = draw(st.sampled_from([0, 0, 0, 0, 0, 1, 3]))
    if kind in ("interval", "count"):
        low = Fraction(1 + base + off) if kind == "count" else Fraction(1 + base + off, 2)
        high = low + draw(st.sampled_from([0, 0, 0, 1]))
        open_end = draw(st.integers(0, 9))
        unit = "UNITLESS" if kind == "count" else "MilliM"
        return Quantity(None if open_end == 8 else low, None if open_end == 9 else high, unit)
    if kind == "choice":
        terms = [c.id for c in VOCABULARY.in_scheme(VOCABULARY.parameters[parameter].scheme or "")]
        return Choice(terms[(base + off) % len(terms)])
    if kind == "yes-no":
        return YesNo((base + off) % 2 == 0)
    if kind == "order":
        steps = list(STEPS)
        if off:
            steps[off], steps[off - 1] = steps[off - 1], steps[off]
        kept = draw(st.lists(st.integers(0, 5), min_size=3, max_size=6, unique=True))
        return Steps(tuple(steps[n] for n in sorted(kept)))
    chosen = [REGIONS[(base + n) % len(REGIONS)] for n in draw(st.lists(st.integers(0, 3), min_size=1, max_size=3))]
    excluded = [
        REGIONS[(base + 4 + n) % len(REGIONS)] for n in draw(st.lists(st.sampled_from([0, 0, 0, 1]), max_size=1))
    ]
    exact = draw(st.integers(0, 5)) == 0
    return Membership(frozenset(chosen), frozenset() if exact else frozenset(excluded) - set(chosen), exact)


def _scope(case: dict[str, str]) -> Scope:
    return in_order(case, VOCABULARY)


@st.composite
def agreeing_stores(draw: st.DrawFn) -> Store:
    """Some sources on one or two questions in a few cases; editions, compilations and rulings among them."""
    parameters = draw(st.lists(st.sampled_from(PARAMETERS), min_size=1, max_size=2, unique=True))
    names = [f"work-{letter}" for letter in "abcdefg"[: draw(st.integers(3, 7))]]
    sources = {}
    for name in names:
        older = draw(st.sampled_from([*names, *([""] * 12)]))
        copied = draw(st.sampled_from([*names, *([""] * 12)]))
        sources[name] = Source(
            name, year=draw(st.sampled_from([1990, 2000])), edition_of=older, compiled_from=(copied,) if copied else ()
        )
    claims: dict[str, Claim] = {}
    rulings = []
    for parameter in parameters:
        cases = draw(st.lists(st.integers(0, len(CASES) - 1), min_size=1, max_size=6, unique=True))
        spread = draw(st.integers(0, 4))
        for number in cases:
            for source in draw(st.lists(st.sampled_from(names), min_size=1, max_size=4, unique=True)):
                identifier = f"{source}/{parameter}/{number}"
                value = _value(parameter, draw, number * spread)
                claims[identifier] = Claim(identifier, source, parameter, _scope(CASES[number]), value)
            if draw(st.integers(0, 7)) == 0:
                value = _value(parameter, draw, number * spread)
                rulings.append(Ruling(f"{parameter}-{number}", parameter, _scope(CASES[number]), value))
    ordered = [claims[identifier] for identifier in sorted(claims)]
    return Store(Triples(), VOCABULARY, sources, ordered, rulings, [], {})
