"""The network that sights make between points: what hangs together, and the loops that must close."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass

Point = Hashable
Ends = Sequence[tuple[Point, Point]]


@dataclass(frozen=True)
class Loop:
    """A way through the network whose height difference is known: round to its start, or between two fixed points.

    Attributes
    ----------
    points : in order, from start to end
    sights : number of each sight along it
    signs : 1 where the sight is gone along, -1 where against
    """

    points: tuple[Point, ...]
    sights: tuple[int, ...]
    signs: tuple[int, ...]

    @property
    def is_closed(self) -> bool:
        return self.points[0] == self.points[-1]


@dataclass(frozen=True)
class Tree:
    """Shortest ways from the fixed points: of each point reached, the sight that reached it and the point before."""

    before: dict[Point, tuple[int, Point] | None]

    def way(self, point: Point) -> list[tuple[int, Point]]:
        """Sights from this point back to its fixed point, each with the point that it leads to."""
        steps = []
        step = self.before[point]
        while step is not None:
            steps.append(step)
            step = self.before[step[1]]
        return steps


def neighbours(ends: Ends) -> dict[Point, list[tuple[int, Point]]]:
    """Of each point the sights there and the points at their other ends."""
    near: dict[Point, list[tuple[int, Point]]] = {}
    for i, (a, b) in enumerate(ends):
        near.setdefault(a, []).append((i, b))
        near.setdefault(b, []).append((i, a))
    return near


def spanning_tree(ends: Ends, fixed: Collection[Point]) -> Tree:
    """Shortest ways (fewest sights) from the fixed points to all that they reach."""
    near = neighbours(ends)
    before: dict[Point, tuple[int, Point] | None] = {point: None for point in near if point in fixed}
    queue = deque(before)
    while queue:
        here = queue.popleft()
        for sight, there in near[here]:
            if there not in before:
                before[there] = (sight, here)
                queue.append(there)
    return Tree(before)


def groups_apart(ends: Ends, fixed: Collection[Point]) -> list[list[Point]]:
    """Groups of points that no sight joins to a fixed point, in the order of the sights."""
    reached = set(spanning_tree(ends, fixed).before)
    groups = []
    for point in neighbours(ends):
        if point not in reached:
            group = list(spanning_tree(ends, [point]).before)
            reached |= set(group)
            groups.append(group)
    return groups


def independent_loops(ends: Ends, fixed: Collection[Point]) -> list[Loop]:
    """One loop, or line between fixed points, for each sight that the spanning tree has not used.

    They are as many as the sights are redundant, and any other loop is made of them.

    Examples
    --------
    >>> [loop.points for loop in independent_loops([("A", "B"), ("B", "C"), ("C", "A")], {"A"})]
    [('A', 'B', 'C', 'A')]
    """
    tree = spanning_tree(ends, fixed)
    used = {step[0] for step in tree.before.values() if step is not None}
    return [_loop(ends, tree, i) for i in range(len(ends)) if i not in used and ends[i][0] in tree.before]


def _loop(ends: Ends, tree: Tree, closing: int) -> Loop:
    a, b = ends[closing]
    out, back = tree.way(a), tree.way(b)
    while out and back and out[-1] == back[-1]:  # the way from the fixed point that both have in common
        out.pop()
        back.pop()
    start = out[-1][1] if out else a
    points, sights = [start], []
    for k in range(len(out) - 1, -1, -1):
        sights.append(out[k][0])
        points.append(out[k - 1][1] if k else a)
    sights.append(closing)
    points.append(b)
    for sight, there in back:
        sights.append(sight)
        points.append(there)
    signs = [1 if ends[sight] == (points[k], points[k + 1]) else -1 for k, sight in enumerate(sights)]
    return Loop(tuple(points), tuple(sights), tuple(signs))
