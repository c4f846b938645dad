"""The table of the kinds of requirement: a new kind is its module in this package, and its line here."""

from __future__ import annotations

from registry.engine.requirements.appointment import Appointed
from registry.engine.requirements.assessment import PracticalAssessment
from registry.engine.requirements.certificate import Certified
from registry.engine.requirements.hours import Hours
from registry.engine.requirements.instruction import Instructed
from registry.engine.requirements.language import SharedLanguage
from registry.engine.requirements.leaf import Leaf
from registry.engine.requirements.no_stand_down import NoStandDown

KINDS: dict[str, type[Leaf]] = {
    kind.kind: kind
    for kind in (
        Hours,
        PracticalAssessment,
        Certified,
        Instructed,
        Appointed,
        SharedLanguage,
        NoStandDown,
    )
}
"""By the name under which a role standard asks for it."""
