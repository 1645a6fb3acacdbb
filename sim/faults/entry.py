"""What an entry of the catalogue is: a pure change to a scenario, with its story and arguments."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from inspect import Parameter, signature
from typing import Any, Literal

from drytouch.sim.errors import DrytouchError, StepError
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.scenario import Scenario

GROUPS = ("wiring", "setter", "machine", "tool", "data", "person")
Group = Literal["wiring", "setter", "machine", "tool", "data", "person"]
Change = Callable[..., Scenario]
# Units by the end of an argument's name; an argument without one has none. Longest first.
_UNITS = (
    ("_per_s", "1/s"),
    ("_mm_per_min", "mm/min"),
    ("_mm", "mm"),
    ("_um", "um"),
    ("_deg", "degrees"),
    ("_s", "s"),
    ("_N", "N"),
)
_WORDS = {"bool": "true or false", "int": "a whole number", "float": "a number", "str": "a name"}


class NotHere(DrytouchError):
    """A fault has no effect in this scenario; ``reason`` says why in a few words."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason

    def __str__(self) -> str:
        return self.reason


@dataclass(frozen=True, slots=True)
class Argument:
    """One figure of a fault: its name, its kind in words, its unit, and its default."""

    name: str
    kinds: frozenset[str]
    unit: str
    default: Any

    @property
    def wanted(self) -> str:
        """What may be given, in words."""
        words = " or ".join(_WORDS[kind] for kind in sorted(self.kinds - {"None"}))
        return f"{words} in {self.unit}" if self.unit else words

    def accepts(self, value: Any) -> bool:
        """Whether a value is of the right kind; a whole number may stand for a number."""
        if value is None:
            return "None" in self.kinds
        kind = type(value).__name__
        return kind in self.kinds or (kind == "int" and "float" in self.kinds)


@dataclass(frozen=True, slots=True)
class FaultEntry:
    """One fault of the catalogue.

    ``story`` is what happened in the shop; ``catch`` is what it takes to notice it in time;
    ``unseen`` is True where nothing that a routine can do would notice it.
    """

    name: str
    group: Group
    title: str
    story: str
    catch: str
    change: Change
    arguments: tuple[Argument, ...]
    unseen: bool = False

    def __call__(self, scenario: Scenario, **arguments: Any) -> Scenario:
        """The scenario with this fault in it; the one given stays as it is.

        Raises:
            NotHere: it has no effect in this scenario.
            StepError: an argument is unknown or of the wrong kind.
        """
        if arguments:
            self.check(arguments)
        return self.change(scenario, **arguments)

    def check(self, arguments: Mapping[str, Any]) -> None:
        """Raise ``StepError`` unless the fault takes these arguments."""
        known = {argument.name: argument for argument in self.arguments}
        for name, value in arguments.items():
            if name not in known:
                raise StepError(
                    f"fault '{self.name}' takes no argument '{name}'",
                    nearest(name, list(known)) if known else "it takes none",
                )
            if not known[name].accepts(value):
                raise StepError(
                    f"fault '{self.name}': argument '{name}' is {value!r}",
                    f"expected {known[name].wanted}",
                )


# Filled by the decorator as the rooms of the catalogue are loaded.
ENTRIES: dict[str, FaultEntry] = {}


def fault(
    group: Group, title: str, catch: str, unseen: bool = False
) -> Callable[[Change], FaultEntry]:
    """Make an entry of a function ``scenario, *, figures -> scenario``; its docstring is the story.

    The entry's name is the function's own, with hyphens.
    """

    def enter(change: Change) -> FaultEntry:
        name = change.__name__.replace("_", "-")
        story = " ".join((change.__doc__ or "").split())
        parameters = list(signature(change).parameters.values())[1:]
        entry = FaultEntry(
            name, group, title, story, catch, change, tuple(map(_argument, parameters)), unseen
        )
        assert name not in ENTRIES, name
        ENTRIES[name] = entry
        return entry

    return enter


def _argument(parameter: Parameter) -> Argument:
    kinds = frozenset(part.strip() for part in str(parameter.annotation).split("|"))
    unit = next((unit for end, unit in _UNITS if parameter.name.endswith(end)), "")
    return Argument(parameter.name, kinds, unit, parameter.default)
