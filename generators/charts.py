"""Charts: the claims of a topic on a common scale, with the positions and the course's value marked; bars."""

from fractions import Fraction
from html import escape

from trayconcord.generators.overview import ChapterStanding
from trayconcord.kb.grammar import range_text
from trayconcord.kb.model import Claim, comparable
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval, decimal_text
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.plausible import is_plausible
from trayconcord.shapes.wording import comparable_text, letter, name_of, position_text, printed_text, unit_signs


class Scale:
    """A linear scale from quantities to the width of a plot that holds every stated end, with round ticks."""

    def __init__(self, intervals: list[Interval]) -> None:
        ends = [end for interval in intervals for end in (interval.low, interval.high) if end is not None]
        low, high = min(ends, default=Fraction(0)), max(ends, default=Fraction(1))
        low = min(low, Fraction(0)) if low >= 0 and low <= (high - low) * 2 else low
        self.step = _round_step((high - low) or abs(high) or Fraction(1))
        self.low = (low // self.step) * self.step
        self.high = -((-high) // self.step) * self.step
        if self.high == self.low:
            self.high += self.step

    def share(self, quantity: Fraction) -> float:
        """The horizontal place of a quantity, in per cent of the plot; beyond its ends there is none."""
        within = min(max(quantity, self.low), self.high)
        return float((within - self.low) / (self.high - self.low) * 100)

    def ticks(self) -> list[Fraction]:
        """The round values that are marked on the axis."""
        count = int((self.high - self.low) / self.step)
        return [self.low + self.step * number for number in range(count + 1)]


def _round_step(span: Fraction) -> Fraction:
    step = Fraction(1)
    while step * 8 < span:
        step *= 10
    while step * 8 / 10 >= span:
        step /= 10
    for divisor in (5, 2):
        if step / divisor * 8 >= span:
            return step / divisor
    return step


def scale_of(topics: list[Topic], store: Store) -> Scale:
    """One scale for all topics of a parameter, so that their charts can be read against each other. What lies outside
    the plausible range would leave no room for the rest, and is left out."""
    claims = {claim.id: claim for topic in topics for claim in topic.claims}
    stated = [(_interval(claim, store), store.vocabulary.parameters[claim.parameter]) for claim in claims.values()]
    stated += [(course, topic.parameter) for topic in topics if (course := _course_of(topic, store)) is not None]
    return Scale([value for value, parameter in stated if is_plausible(value, parameter)])


def _course_of(topic: Topic, store: Store) -> Interval | None:
    if topic.ruling is None or topic.ruling.value is None:
        return None
    value = comparable(topic.ruling.value, topic.parameter, store.vocabulary)
    return value if isinstance(value, Interval) else None


def range_chart(topic: Topic, store: Store, scale: Scale) -> str:
    """The chart of a topic about a quantity or count, as HTML: a row for each claim, whose label stands beside the
    plot or, where there is no room, above it. Horizontal places are shares of the plot's width.

    A value outside the plausible range is told apart and not drawn.
    """
    parameter = topic.parameter
    claims = [(_interval(claim, store), claim) for claim in topic.claims]
    rows = sorted((row for row in claims if is_plausible(row[0], parameter)), key=lambda row: _place(row[0]))
    outside = [claim for value, claim in claims if not is_plausible(value, parameter)]
    course = _course_of(topic, store)
    if course and not is_plausible(course, parameter):
        course = None
    told = _left_out(outside, topic, store) if outside else ""
    if not rows:
        return f'<div class="chart">{told}</div>'
    bands, letters = _positions(topic, scale)
    kind, words = ("plot flagged" if course else "plot"), escape(_alternative(topic, store))
    parts = [
        f'<div class="{kind}" role="img" aria-label="{words}">',
        _svg("ground", _grid(scale) + bands),
        _svg("letters", letters),
        *(_row(interval, claim, scale, store) for interval, claim in rows),
        _svg("axis", _ticks(scale, store.vocabulary.units[parameter.unit].symbol)),
        _svg("flag", _course(course, scale)) if course else "",
        "</div>",
    ]
    return f'<div class="chart">{"".join(parts)}{told}</div>'


def _svg(kind: str, content: str) -> str:
    return f'<svg class="{kind}" aria-hidden="true" xmlns="http://www.w3.org/2000/svg">{content}</svg>'


def _per_cent(share: float) -> str:
    return f"{share:.2f}".rstrip("0").rstrip(".") + "%"


def _interval(claim: Claim, store: Store) -> Interval:
    assert claim.value is not None
    value = comparable(claim.value, store.vocabulary.parameters[claim.parameter], store.vocabulary)
    assert isinstance(value, Interval)
    return value


def _place(interval: Interval) -> tuple[bool, Fraction, bool, Fraction]:
    return interval.low is not None, interval.low or Fraction(0), interval.high is None, interval.high or Fraction(0)


def _ends(interval: Interval, scale: Scale) -> tuple[float, float]:
    return (
        scale.share(interval.low if interval.low is not None else scale.low),
        scale.share(interval.high if interval.high is not None else scale.high),
    )


def _grid(scale: Scale) -> str:
    places = (_per_cent(scale.share(tick)) for tick in scale.ticks())
    return "".join(f'<line class="grid" x1="{x}" x2="{x}" y1="0" y2="100%"/>' for x in places)


def _ticks(scale: Scale, symbol: str) -> str:
    ticks = scale.ticks()
    texts = [decimal_text(tick, 3) for tick in ticks[:-1]] + [range_text(ticks[-1], ticks[-1], unit_signs(symbol))]
    return "".join(
        f'<text class="tick" x="{_per_cent(scale.share(tick))}" y="14" text-anchor="middle">{escape(text)}</text>'
        for tick, text in zip(ticks, texts, strict=True)
    )


def _positions(topic: Topic, scale: Scale) -> tuple[str, str]:
    """The bands of what each position shares, and their letters."""
    bands, letters, right = [], [], -APART
    for number, position in enumerate(topic.positions):
        value = position.value
        if isinstance(value, Interval) and is_plausible(value, topic.parameter):
            left, end = _ends(value, scale)
            bands.append(_band(left, end))
            if len(topic.positions) > 1:
                right = max((left + end) / 2, right + APART)
                letters.append(
                    f'<text class="letter" x="{_per_cent(right)}" y="13" text-anchor="middle">{letter(number)}</text>'
                )
    return "".join(bands), "".join(letters)


APART = 4.5
"""How far apart the letters of neighbours stand at least, in per cent of the plot, not to run into each other."""


def _band(left: float, right: float) -> str:
    """A band over all rows; a single value is a line of its own width, since a share of the plot has none."""
    if left == right:
        x = _per_cent(left)
        return f'<line class="band" x1="{x}" x2="{x}" y1="0" y2="100%"/>'
    return f'<rect class="band" x="{_per_cent(left)}" y="0" width="{_per_cent(right - left)}" height="100%"/>'


def _row(interval: Interval, claim: Claim, scale: Scale, store: Store) -> str:
    name = name_of(store.sources, claim.source)
    left, right = _ends(interval, scale)
    if left == right:
        drawn = f'<circle class="mark" cx="{_per_cent(left)}" cy="50%" r="4.5"/>'
    else:
        ends = ((interval.low, left, -9), (interval.high, right, 9))
        arrows = (
            f'<svg x="{_per_cent(x)}" y="50%"><path class="mark" d="M0-5L{way} 0L0 5Z"/></svg>'
            for end, x, way in ends
            if end is None
        )
        bar = f'<line class="bar" x1="{_per_cent(left)}" x2="{_per_cent(right)}" y1="50%" y2="50%"/>'
        drawn = bar + "".join(arrows)
    said = f"{name}: {printed_text(claim, store.vocabulary)}"
    return f'<span class="label" title="{escape(said)}">{escape(name)}</span>{_svg("row", drawn)}'


def _course(value: Interval, scale: Scale) -> str:
    """The flag at the course's value; a range has a bar from end to end."""
    left, right = _ends(value, scale)
    x, width = _per_cent(left), _per_cent(right - left)
    return (
        (f'<rect class="course" x="{x}" y="13" width="{width}" height="4"/>' if right > left else "")
        + f'<svg x="{_per_cent((left + right) / 2)}" y="0"><path class="course" d="M-.5 17v-16l9.5 3.5l-7.5 3.5v9Z"/>'
        '<text class="letter" x="12" y="12">course</text></svg>'
    )


def _left_out(claims: list[Claim], topic: Topic, store: Store) -> str:
    """The claims outside the plausible range, in words."""
    parameter, vocabulary = topic.parameter, store.vocabulary
    letters = {claim.id: letter(number) for number, position in enumerate(topic.positions) for claim in position.claims}
    several = len(topic.positions) > 1
    named = "; ".join(
        f"{letters[claim.id] + ' ' if several else ''}{printed_text(claim, vocabulary)}"
        f" ({name_of(store.sources, claim.source)})"
        for claim in sorted(claims, key=lambda claim: (letters[claim.id], claim.id))
    )
    assert parameter.plausible is not None
    plausible = comparable_text(Interval(*parameter.plausible), parameter, vocabulary)
    return (
        f'<p class="note outside">Outside the plausible range of {escape(plausible)}, not drawn: {escape(named)}.</p>'
    )


def _alternative(topic: Topic, store: Store) -> str:
    vocabulary = store.vocabulary
    positions = "; ".join(
        f"{letter(number)}: {position_text(p, topic.parameter, vocabulary, topic.when)}, {len(p.claims)} claims"
        for number, p in enumerate(topic.positions)
    )
    return f"Range chart of {topic.parameter.label}, {len(topic.claims)} claims. Positions {positions}"


BAR_LENGTH, BAR_HEIGHT = 280, 14


def standing_bar(standing: ChapterStanding, longest: int) -> str:
    """The topics of a chapter as one bar, to the scale of the chapter that has most: contested filled, agreed hatched,
    one voice hollow. The table beside it has the numbers, so the bar is no more than a picture of them."""
    ends = [sum(list(standing.counts.values())[:number]) * BAR_LENGTH // longest for number in range(4)]
    parts = []
    for name, left, right in zip(standing.counts, ends[:-1], ends[1:], strict=True):
        if left < right:
            parts.append(f'<rect class="{name}" x="{left}.5" y=".5" width="{right - left}" height="{BAR_HEIGHT}"/>')
        if name == "agreed":  # hatched by hand: a pattern would need an id, and an id may stand once on a page
            parts += [f'<path class="hatch" d="M{x}.5 .5v{BAR_HEIGHT}"/>' for x in range(left + 4, right, 4)]
    size = f'viewBox="0 0 {ends[-1] + 1} {BAR_HEIGHT + 1}" width="{ends[-1] + 1}" height="{BAR_HEIGHT + 1}"'
    return f'<svg class="standings" {size} aria-hidden="true" xmlns="http://www.w3.org/2000/svg">{"".join(parts)}</svg>'
