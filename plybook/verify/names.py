"""What materials are called: plan.json has a name beside each id, printed words have the name."""

from __future__ import annotations

from plybook.verify.printed import pattern, same, squeeze


class Names:
    """The names of the materials of a plan."""

    def __init__(self, plan: dict) -> None:
        self._called = {k: row.get("name", k) for k, row in plan["materials"].items()}

    def called(self, material: str) -> str:
        """A material's name, its id where it has none."""
        return self._called.get(material, material)

    def fits(self, material: str, said: str) -> bool:
        """Whether printed words are a material's name; its end may be left out for an ellipsis."""
        return same(said, self.called(material))

    def another(self, material: str, said: str) -> bool:
        """Whether printed words are the name of some other material alone."""
        words = squeeze(said)
        others = (squeeze(name) for k, name in self._called.items() if k != material)
        return words in others and words != squeeze(self.called(material))

    def expression(self, material: str) -> str:
        """The name among squeezed words, as a regular expression."""
        return pattern(squeeze(self.called(material))).pattern
