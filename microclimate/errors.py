"""How the package says that an input cannot be used: where, what was found, what is wanted, and the cure."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing to mend, in the reader's words."""

    where: str
    found: str
    wanted: str = ""
    cure: str = ""

    def __str__(self) -> str:
        text = f"{self.where}: {self.found}" if self.where else self.found
        if self.wanted:
            text += f"; wanted {self.wanted}"
        if self.cure:
            text += f"; {self.cure}"
        return text


class InputError(Exception):
    """Every fault of one input at once. The command line prints it and ends with `exit_code`."""

    exit_code = 2

    def __init__(self, title: str, problems: Iterable[Problem]) -> None:
        self.title = title
        self.problems = tuple(problems)
        super().__init__(str(self))

    def __str__(self) -> str:
        if len(self.problems) == 1:
            return str(self.problems[0])
        lines = "\n".join(f"  - {problem}" for problem in self.problems)
        return f"{self.title}: {len(self.problems)} things to mend\n{lines}"


class WeatherTooOld(InputError):
    """The weather does not reach the night asked for: too old, or too short."""

    exit_code = 3


def refuse(where: str, found: str, wanted: str = "", cure: str = "") -> InputError:
    """One problem as an error, ready to raise."""
    return InputError(where, [Problem(where, found, wanted, cure)])
