"""JSON that is almost right: every value of a document replaced by values of other kinds, left out, or doubled."""

import copy

ODD = [None, True, 0, -1, 0.5, 1e300, 10**30, "", "x", "y\u202e\x1b[8m", "9" * 400, [], [[]], [None], {}, {"a": 1}]


def places(value, path=()):
    """The path of every value in a document, the whole of it left out."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield (*path, key)
        yield from places(item, (*path, key))


def changed(document, path, value):
    """The document with another value at a path."""
    out = copy.deepcopy(document)
    within = out
    for key in path[:-1]:
        within = within[key]
    within[path[-1]] = value
    return out


def without(document, path):
    """The document without what stands at a path."""
    out = copy.deepcopy(document)
    within = out
    for key in path[:-1]:
        within = within[key]
    del within[path[-1]]
    return out


def mutant(document, rng, chosen=None):
    """One change at one place, or at two."""
    out = document
    for _ in range(rng.choice([1, 1, 1, 2])):
        path = chosen or rng.choice(list(places(out)))
        out = without(out, path) if rng.random() < 0.15 else changed(out, path, rng.choice(ODD))
        chosen = None
    return out
