"""What is worth knowing as data: a key of the phrase book and its values; words are made from it where it is shown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Self


class Note(str):
    """A note that reads as its sentence in millimetres, and can be said in any unit.

    Parameters
    ----------
    key : of the sentence in ``words/phrases.toml``
    values : what it names: lengths and places in mm, slopes in mm/m, texts, and other notes

    Examples
    --------
    >>> note = Note("lattice-length", used=1219.2)
    >>> note.key, note.values["used"], str(note)
    ('lattice-length', 1219.2, 'the lattice step does not divide the length: 1219 mm was used')
    """

    __slots__ = ("key", "values")
    key: str
    values: Mapping[str, Any]

    def __new__(cls, key: str, /, **values: Any) -> Self:
        from flatness.words.phrases import sentence_of  # words lie below all that makes notes

        made = super().__new__(cls, sentence_of(key, values, ""))
        object.__setattr__(made, "key", key)
        object.__setattr__(made, "values", values)
        return made

    def __str__(self) -> str:
        return self  # so that text made of it by str() can still be said in any unit

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a note does not change: {name}")

    def __reduce__(self) -> tuple[Any, ...]:
        return _made, (self.key, dict(self.values))


def _made(key: str, values: Mapping[str, Any]) -> Note:
    return Note(key, **values)


def joined(notes: Iterable[str], key: str = "and") -> str:
    """Notes as one, blank ones left out: ``and`` puts semicolons between, ``sentences`` full stops."""
    parts = tuple(note.rstrip(".") if type(note) is str else note for note in notes if note)
    return Note(key, parts=parts) if parts else ""
