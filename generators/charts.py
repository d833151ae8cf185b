"""Charts in SVG: the claims of a topic on a common scale, with the positions and the course's value marked; bars."""

from fractions import Fraction
from html import escape

from trayconcord.generators.overview import ChapterStanding
from trayconcord.kb.grammar import range_text
from trayconcord.kb.model import Claim, comparable
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval, decimal_text
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.wording import comparable_text, name_of, stated_text

LABELS, PLOT, EDGE = 250, 360, 32
TOP, ROW = 26, 22
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def letter(number: int) -> str:
    """The letter of a position, counted from 0."""
    return LETTERS[number] if number < len(LETTERS) else str(number + 1)


class Scale:
    """A linear scale from quantities to pixels that holds every stated end, with round ticks."""

    def __init__(self, intervals: list[Interval]) -> None:
        ends = [end for interval in intervals for end in (interval.low, interval.high) if end is not None]
        low, high = min(ends, default=Fraction(0)), max(ends, default=Fraction(1))
        low = min(low, Fraction(0)) if low >= 0 and low <= (high - low) * 2 else low
        self.step = _round_step((high - low) or abs(high) or Fraction(1))
        self.low = (low // self.step) * self.step
        self.high = -((-high) // self.step) * self.step
        if self.high == self.low:
            self.high += self.step

    def x(self, quantity: Fraction) -> str:
        """The horizontal place of a quantity, in pixels."""
        return f"{float(LABELS + EDGE + (quantity - self.low) / (self.high - self.low) * PLOT):.1f}"

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
    """One scale for all topics of a parameter, so that their charts can be read against each other."""
    claims = {claim.id: claim for topic in topics for claim in topic.claims}
    courses = [course for topic in topics if (course := _course_of(topic, store)) is not None]
    return Scale([_interval(claim, store) for claim in claims.values()] + courses)


def _course_of(topic: Topic, store: Store) -> Interval | None:
    if topic.ruling is None or topic.ruling.value is None:
        return None
    value = comparable(topic.ruling.value, topic.parameter, store.vocabulary)
    return value if isinstance(value, Interval) else None


def range_chart(topic: Topic, store: Store, scale: Scale) -> str:
    """The chart of a topic about a quantity or count, as an SVG element."""
    vocabulary, parameter = store.vocabulary, topic.parameter
    rows = sorted(((_interval(claim, store), claim) for claim in topic.claims), key=lambda row: _place(row[0]))
    course = _course_of(topic, store)
    height = TOP + ROW * len(rows) + (44 if course else 24)
    width = LABELS + PLOT + 2 * EDGE
    bottom = TOP + ROW * len(rows)
    parts = [
        f'<svg class="chart" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img"'
        f' xmlns="http://www.w3.org/2000/svg"><title>{escape(_alternative(topic, store))}</title>'
    ]
    ticks, symbol = scale.ticks(), vocabulary.units[parameter.unit].symbol
    for tick in ticks:
        text = decimal_text(tick, 3) if tick != ticks[-1] else range_text(tick, tick, symbol)
        parts.append(f'<line class="grid" x1="{scale.x(tick)}" x2="{scale.x(tick)}" y1="{TOP}" y2="{bottom}"/>')
        parts.append(
            f'<text class="tick" x="{scale.x(tick)}" y="{bottom + 16}" text-anchor="middle">{escape(text)}</text>'
        )
    right = 0.0
    for number, position in enumerate(topic.positions):
        if isinstance(position.value, Interval):
            band, middle = _band(position.value, scale, bottom)
            parts.append(band)
            if len(topic.positions) > 1:
                right = max(middle, right + 12)  # letters of neighbours must not run into each other
                parts.append(
                    f'<text class="letter" x="{right:.1f}" y="16" text-anchor="middle">{letter(number)}</text>'
                )
    for number, (interval, claim) in enumerate(rows):
        parts += _row(interval, claim, TOP + ROW * number + ROW // 2, scale, store)
    if course:
        parts.append(_course(course, scale, bottom))
    return "".join([*parts, "</svg>"])


def _interval(claim: Claim, store: Store) -> Interval:
    assert claim.value is not None
    value = comparable(claim.value, store.vocabulary.parameters[claim.parameter], store.vocabulary)
    assert isinstance(value, Interval)
    return value


def _place(interval: Interval) -> tuple[bool, Fraction, bool, Fraction]:
    return interval.low is not None, interval.low or Fraction(0), interval.high is None, interval.high or Fraction(0)


def _ends(interval: Interval, scale: Scale) -> tuple[str, str]:
    return (
        scale.x(interval.low if interval.low is not None else scale.low),
        scale.x(interval.high if interval.high is not None else scale.high),
    )


def _band(value: Interval, scale: Scale, bottom: int) -> tuple[str, float]:
    """The band of what a position shares, and its middle."""
    left, right = (float(end) for end in _ends(value, scale))
    middle, width = (left + right) / 2, max(right - left, 6.0)
    x = f"{middle - width / 2:.1f}"
    return f'<rect class="band" x="{x}" y="{TOP - 4}" width="{width:.1f}" height="{bottom - TOP + 8}"/>', middle


def _row(interval: Interval, claim: Claim, y: int, scale: Scale, store: Store) -> list[str]:
    label = name_of(store.sources, claim.source)
    if len(label) > 29:
        label = label[:28].rstrip() + "…"
    said = f"{name_of(store.sources, claim.source)}: {stated_text(claim, store.vocabulary)}"
    parts = [
        f'<g><title>{escape(said)}</title><text class="label" x="{LABELS}" y="{y + 4}" text-anchor="end">'
        f"{escape(label)}</text>"
    ]
    left, right = _ends(interval, scale)
    if left == right:
        parts.append(f'<circle class="mark" cx="{left}" cy="{y}" r="4.5"/>')
    else:
        parts.append(f'<line class="bar" x1="{left}" x2="{right}" y1="{y}" y2="{y}"/>')
        for end, x, way in ((interval.low, left, -1), (interval.high, right, 1)):
            if end is None:
                x0 = float(x)
                parts.append(f'<path class="mark" d="M{x0:.1f} {y - 5}L{x0 + way * 9:.1f} {y}L{x0:.1f} {y + 5}Z"/>')
    return [*parts, "</g>"]


def _course(value: Interval, scale: Scale, bottom: int) -> str:
    left, right = _ends(value, scale)
    middle, width = (float(left) + float(right)) / 2, max(float(right) - float(left), 1)
    return (
        f'<rect class="course" x="{left}" y="{bottom + 28}" width="{width:.1f}" height="4"/>'
        f'<path class="course" d="M{middle:.1f} {bottom + 32}v-12l9 3.5l-7.5 3.5v5Z"/>'
        f'<text class="letter" x="{middle + 10:.1f}" y="{bottom + 35}">course</text>'
    )


def _alternative(topic: Topic, store: Store) -> str:
    vocabulary = store.vocabulary
    positions = "; ".join(
        f"{letter(number)}: {comparable_text(p.value, topic.parameter, vocabulary)}, {len(p.claims)} claims"
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
