"""What can be brought in: workers, hours, assessments, certifications."""

from __future__ import annotations

from registry.evidence.importing.assessments import Assessments
from registry.evidence.importing.certifications import Certifications
from registry.evidence.importing.hours import Hours
from registry.evidence.importing.kind import Kind
from registry.evidence.importing.workers import Workers

KINDS: dict[str, type[Kind]] = {each.name: each for each in (Workers, Hours, Assessments, Certifications)}
