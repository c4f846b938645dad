"""What a verification found, in sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy, ngettext

from registry.ledger.kinds import BY_TABLE, title_of
from registry.ledger.verification import Finding

WHAT: dict[str, Promise] = {
    "altered": gettext_lazy("was altered"),
    "removed": gettext_lazy("was removed"),
    "inserted": gettext_lazy("was put in past the log"),
    "reordered": gettext_lazy("was moved to another place in the log"),
    "back-dated": gettext_lazy("is dated back"),
    "log altered": gettext_lazy("has another log entry than before"),
    "checkpoint": gettext_lazy("does not hold"),
    "derived": gettext_lazy("has a state that does not follow from the records"),
}


def name_of(finding: Finding) -> str:
    """``hours entry 12 (evidence_hoursentry)``; what is no record keeps its own name."""
    if finding.kind in BY_TABLE:
        return f"{title_of(finding.kind)} {finding.record} ({finding.kind})"
    return finding.name


def sentence(finding: Finding) -> str:
    """The whole finding: which record, what became of it, in which detail, since when."""
    since = f" [{finding.since}]" if finding.since else ""
    return f"{name_of(finding)} {WHAT[finding.what]}: {finding.detail}{since}"


def counted(findings: Iterable[Finding]) -> list[str]:
    """``hours entry was altered: 1,204 times``, one line for each kind of finding, the most frequent first."""
    sorts = Counter((each.kind, each.what) for each in findings)
    return [
        ngettext("%(kind)s %(what)s: %(count)s time", "%(kind)s %(what)s: %(count)s times", count)
        % {"kind": title_of(kind), "what": WHAT[what], "count": f"{count:,}"}
        for (kind, what), count in sorts.most_common()
    ]
