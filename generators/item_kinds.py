"""The maker of all kinds of items: which kinds a topic gives depends on the kind of its value."""

from collections.abc import Iterator

from trayconcord.generators.ground import Ground
from trayconcord.generators.item_orders import Orders
from trayconcord.generators.item_quantities import Quantities
from trayconcord.generators.item_terms import Terms
from trayconcord.generators.items import Item


class Maker(Quantities, Terms, Orders):
    """Makes the items of a store, topic by topic."""

    def items(self, ground: Ground) -> Iterator[Item]:
        """The items of one topic on which the sources agree or the course has ruled."""
        kind = ground.parameter.kind
        if ground.parameter.needs_beside or ground.torn(self.grounds.comparison.voices.voice):
            return
        if kind in ("interval", "count"):
            yield from self.quantities(ground)
        elif kind == "choice":
            yield from self.choices(ground)
        elif kind == "set":
            yield from self.members(ground)
        elif kind == "order":
            yield from self.steps(ground)
        elif kind == "yes-no" and ground.supported(key := self._key(ground)) and self._enough(ground, ground.deciding):
            yield from self.statements(ground, key)
            yield from self._cases(ground, key, ground.deciding)
