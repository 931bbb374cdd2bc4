"""What all written models share: strictness, and the place of every key and value."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, PrivateAttr, ValidationInfo, model_validator

from plybook.diagnostics import Place
from plybook.spec.reader import Fields
from plybook.spec.reading import reading


class Written(BaseModel):
    """A mapping as it stands in a file."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)
    _raw: Fields = PrivateAttr()

    @model_validator(mode="wrap")
    @classmethod
    def _keep_places(cls, raw: Any, handler, info: ValidationInfo):
        if not isinstance(raw, Fields):
            return handler(raw)
        known = cls.key_names()
        reading(info).unknown.extend((cls, raw, key) for key in raw if key not in known)
        made = handler({key: value for key, value in raw.items() if key in known})
        made._raw = raw
        return made

    @classmethod
    def key_names(cls) -> tuple[str, ...]:
        """The keys as the user writes them."""
        return tuple(info.alias or name for name, info in cls.model_fields.items())

    @property
    def here(self) -> Place:
        """Where the mapping starts."""
        return self._raw.place

    def wrote(self, key: str) -> bool:
        """Whether the user wrote the key."""
        return key in self._raw

    def place_of(self, *path: str | int) -> Place:
        """Place of the value at the end of a path of keys and indices; of the nearest one there
        is when part of it was not written."""
        node: Any = self._raw
        place = node.place
        for step in path:
            try:
                node = node[step]
            except (KeyError, IndexError, TypeError):
                return place
            place = node.place
        return place

    def key_place(self, key: str) -> Place:
        """Place of the key itself."""
        return self._raw.key_places.get(key, self._raw.place)

    def entry_place(self, key: str, name: str) -> Place:
        """Place of a name inside the mapping that stands under a key."""
        value = self._raw.get(key)
        return value.key_places.get(name, value.place) if isinstance(value, Fields) else self.here

    def is_quoted(self, key: str) -> bool:
        """Whether the text under a key stood in quotes."""
        return getattr(self._raw.get(key), "quoted", False)
