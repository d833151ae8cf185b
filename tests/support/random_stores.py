"""Random small stores about one parameter, for the tests of what is general."""

from fractions import Fraction

from hypothesis import strategies as st

from trayconcord.kb.model import Claim, Source, in_order
from trayconcord.kb.store import Store, load
from trayconcord.kb.triples import Triples
from trayconcord.kb.values import Choice, Membership, Nothing, Quantity, Steps, YesNo

VOCABULARY = load(only=True).vocabulary

CONDITIONS = {
    "arch": ["maxillary", "mandibular"],
    "impression-material": [
        "elastomer", "silicone", "addition-silicone", "polyether", "impression-paste", "zinc-oxide-eugenol-paste",
    ],
    "consistency": ["low-consistency", "high-consistency"],
    "region": ["border", "frenum", "labial-frenum", "hard-palate"],
    "impression-technique": ["selective-pressure", "minimal-pressure"],
    "fit": ["spaced", "close-fitting"],
    "fabrication-method": ["hand-formed", "sprinkle-on", "printed"],
}  # fmt: skip
REGIONS = ["bearing-area", "hard-palate", "rugae", "residual-ridge", "ridge-crest", "ridge-slope", "canine-region"]
STEPS = ["draw-outline", "soak-cast", "block-out-undercuts", "adapt-spacer", "cut-stops"]

scopes = st.dictionaries(st.sampled_from(sorted(CONDITIONS)), st.integers(0, 9), max_size=3).map(
    lambda chosen: in_order(
        {axis: CONDITIONS[axis][number % len(CONDITIONS[axis])] for axis, number in chosen.items()}, VOCABULARY
    )
)
grid = st.integers(0, 12).map(lambda n: Fraction(n, 4))


@st.composite
def quantities(draw: st.DrawFn, unit: str) -> Quantity | Nothing:
    shape = draw(st.sampled_from(["point", "range", "low", "high", "none"]))
    if shape == "none":
        return Nothing()
    low, high = sorted((draw(grid), draw(grid)))
    if unit == "UNITLESS":
        low, high = Fraction(int(low)), Fraction(int(high))
    if shape == "point":
        high = low
    return Quantity(None if shape == "high" else low, None if shape == "low" else high, unit)


subsets = st.frozensets(st.sampled_from(REGIONS), max_size=3)
VALUES = {
    "spacer-thickness": quantities("MilliM"),
    "stop-count": quantities("UNITLESS"),
    "exposure-limit": st.integers(0, 8).map(lambda n: Quantity(Fraction(n, 4), Fraction(n, 4), "PPM")),
    "spacer-design": st.sampled_from(["no-spacer", "full-spacer", "partial-spacer"]).map(Choice),
    "soak-cast": st.booleans().map(YesNo),
    "relief-areas": st.one_of(
        subsets.map(lambda s: Membership(s, frozenset(), True)),
        st.tuples(subsets, subsets).map(lambda pair: Membership(pair[0], pair[1] - pair[0], False)),
    ),
    "procedure": st.lists(st.sampled_from(STEPS), min_size=2, max_size=4, unique=True).map(lambda s: Steps(tuple(s))),
}


@st.composite
def stores(draw: st.DrawFn) -> tuple[Store, str]:
    """A small store about one parameter, with editions and compilations among its sources."""
    parameter = draw(st.sampled_from(sorted(VALUES)))
    names = [f"work-{letter}" for letter in "abcdef"[: draw(st.integers(1, 6))]]
    sources = {}
    for name in names:
        sources[name] = Source(
            id=name,
            year=draw(st.sampled_from([0, 1990, 2000])),
            edition_of=draw(st.sampled_from(["", "", "", *names])) if draw(st.booleans()) else "",
            compiled_from=tuple(sorted(draw(st.sets(st.sampled_from(names), max_size=1))))
            if draw(st.integers(0, 3)) == 0
            else (),
        )
    claims = [
        Claim(
            id=f"{source}/{parameter}/{number}",
            source=source,
            parameter=parameter,
            when=draw(scopes),
            value=draw(VALUES[parameter]),
        )
        for number in range(draw(st.integers(0, 8)))
        for source in [draw(st.sampled_from(names))]
    ]
    claims.sort(key=lambda claim: claim.id)
    return Store(Triples(), VOCABULARY, sources, claims, [], [], {}), parameter
