"""What every kind of requirement has to say for itself.

A kind is one class, in one module of this package, with its line in
:data:`registry.engine.requirements.KINDS`. It says how it is written in a
role standard (:attr:`Leaf.fields`, :meth:`Leaf.read`), when it is met
(:meth:`Leaf.evaluate`), how that is told (:meth:`Leaf.account`) and what would
meet it (:meth:`Leaf.obstacle`, :meth:`Leaf.wanted`). What a kind does not
define is what most kinds do.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, ClassVar, Generic, Protocol, Self, TypeVar

from registry.engine.intervals import NEVER, Timeline
from registry.engine.requirements.account import IN_FORCE, Account, Holds, account_over_time
from registry.engine.requirements.wanted import Paper, Wanted

if TYPE_CHECKING:
    from registry.engine.evaluator import Evaluator
    from registry.engine.question import Asked, Question
    from registry.engine.sentences import Sentence
    from registry.engine.standard import Source, Standard
    from registry.engine.tree import Group

Schema = dict[str, Any]
"""A JSON Schema."""


@dataclass(slots=True)
class Evaluation:
    """When a requirement is met, and by which records."""

    timeline: Timeline = NEVER
    counted: list[str] = field(default_factory=list)
    not_counted: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    """Records by the reason why they do not count (:data:`registry.engine.reasons.REASONS`)."""
    may_start: datetime | None = None
    """From when on anything counts, where another requirement must have been met first."""


class FiguresOfStandard(Protocol):
    """What the reader of a role standard knows that a requirement may refer to."""

    def minutes(self, value: int | dict[str, str], path: str) -> tuple[int, bool]:
        """Minutes as written or as a setting gives them, and whether the employer sets them."""


@dataclass(frozen=True, slots=True)
class Signable:
    """Which roles can be filled so far, for telling whether anybody can ever sign for a requirement."""

    operation: str
    filled: frozenset[tuple[str, str]]
    """``(role, operation)``."""
    countersigners: Sequence[str]
    assessors: Sequence[str]
    counted_alone: frozenset[str]
    """Provenances by which hours can make up a whole total."""

    def by(self, signers: Iterable[str], operations: Iterable[str]) -> bool:
        """Whether one of the signing roles can be filled in one of the operations (none: the one in question)."""
        wanted = operations or (self.operation,)
        return any((signer, operation) in self.filled for signer in signers for operation in wanted)


Found = TypeVar("Found", bound=Evaluation)
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf(ABC, Generic[Found]):
    """One requirement. ``cost`` is the declared cost of obtaining it, for the remedy."""

    kind: ClassVar[str]
    """Its name in role standards and in answers."""
    fields: ClassVar[Schema] = {}
    """The JSON Schema of each field of its own in a role standard."""
    required: ClassVar[tuple[str, ...]] = ()
    """Those of :attr:`fields` that must be there."""
    asked_on_every_branch: ClassVar[bool] = False
    """Whether a role standard that can be met without it is refused."""
    holds: ClassVar[Holds] = IN_FORCE
    """How it is said to hold."""

    key: str
    sentence: str
    source: Source
    cost: int

    def fold(self, of_leaf: Callable[[Leaf], Result], of_group: Callable[[Group, list[Result]], Result]) -> Result:
        """What ``of_leaf`` makes of it: a tree may be a single leaf."""
        return of_leaf(self)

    # In a role standard

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        """The requirement as a standard writes it, which satisfies the schema.

        ``common`` are the values for the fields of every requirement.
        Raises :class:`~registry.engine.bad_input.BadInput`.
        """
        return cls(**common)

    @property
    def comes_after(self) -> str | None:
        """The key of the requirement that must have been met first, if any."""
        return None

    @property
    def asks_for_configuration(self) -> bool:
        """Whether it depends on the configuration of the crane."""
        return False

    def can_be_signed(self, so_far: Signable) -> bool:
        """Whether somebody can meet it, as far as signatures go, once the roles named can be filled."""
        return True

    # When it is met

    @abstractmethod
    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> Found:
        """When it is met, exactly, from ``asked.since`` on, by which records, and why not by others.

        ``leaves`` are those of the tree. One more favourable record never makes
        it met at fewer instants: the fixed point of ``signing`` rests on that.
        """

    # In words

    def account(self, evaluation: Found, question: Question, fails_from: datetime | None) -> Account:
        """What is required and what was found, for people; ``fails_from`` is where it first is not met."""
        return account_over_time(self.holds, evaluation.timeline, question, fails_from)

    # What would meet it

    def obstacle(self, evaluation: Found, question: Question, standard: Standard) -> str:
        """Why nothing obtained before the window would help, if so."""
        return ""

    def wanted(self, evaluation: Found, question: Question, leaves: Mapping[str, Leaf]) -> Sequence[Wanted]:
        """The things to obtain: most often one paper, which :meth:`remedy` names."""
        return [Paper(self, self.cost)]

    def remedy(self, question: Question) -> Sentence:
        """The paper to obtain."""
        raise NotImplementedError

    def together_with(self, other: Self) -> Self | None:
        """The requirement, narrowed so that the paper it asks for does for the other of its kind too."""
        return None

    @property
    def paper(self) -> Any:
        """What paper is asked for, whatever requirement asks for it: compares equal where it is the same."""
        return self.key


AnyLeaf = TypeVar("AnyLeaf", bound=Leaf)


def of_kind(kind: type[AnyLeaf], leaves: Iterable[Leaf]) -> list[AnyLeaf]:
    """Those of the requirements that are of the kind."""
    return [leaf for leaf in leaves if isinstance(leaf, kind)]
