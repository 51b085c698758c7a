"""One table of what people wait for: goal, figure, pass or fail."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Table:
    """Rows of the table; ``note`` adds one and returns whether the goal is met."""

    rows: list[tuple[str, str, str, bool | None]] = field(default_factory=list)

    def note(self, what: str, figure: float, goal: float, unit: str, more: str = "", *, least: bool = False) -> bool:
        """A figure that must not be above its goal (``least``: below it)."""
        good = figure >= goal if least else figure <= goal
        sign = "≥" if least else "≤"
        self.rows.append((what, f"{sign} {goal:g} {unit}", f"{figure:.3g} {unit}  {more}".rstrip(), good))
        return good

    def tell(self, what: str, figure: str) -> None:
        """A figure without a goal."""
        self.rows.append((what, "", figure, None))

    def text(self) -> str:
        """The rows, aligned."""
        wide = [max((len(row[k]) for row in self.rows), default=0) for k in range(3)]
        word = {True: "pass", False: "FAIL", None: ""}
        lines = [f"{row[0]:<{wide[0]}}  {row[1]:<{wide[1]}}  {word[row[3]]:<4}  {row[2]}" for row in self.rows]
        return "\n".join(lines)

    def missed(self) -> list[str]:
        """What did not reach its goal."""
        return [f"{what}: {figure}, goal {goal}" for what, goal, figure, good in self.rows if good is False]
