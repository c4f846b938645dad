"""Comparisons and pointers as plain text, for people at a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.engine.answer import LeafResult
from registry.engine.render import CAUTION
from registry.inspection.as_known import Comparison, Side
from registry.inspection.crew_as_known import CrewAsKnown, InPlace, Rules
from registry.inspection.pointers import NO_ACCUSATION, RuleWithPointers
from registry.inspection.words import instant_in_words


def comparison_text(comparison: Comparison) -> str:
    """Both answers, requirement by requirement, and what makes the difference."""
    return "\n".join([*_comparison(comparison), "", CAUTION]) + "\n"


def crew_text(crew: CrewAsKnown) -> str:
    """Each place of the crew in both views, with both answers about everybody in it."""
    zone = ZoneInfo(crew.job.site.time_zone)
    lines = [
        _("%(job)s, job %(number)s: who was on the crew at %(at)s")
        % {"job": crew.job, "number": crew.job.pk, "at": instant_in_words(crew.at, zone)},
        _("by what the register knew at %(instant)s, and by what it knows now")
        % {"instant": instant_in_words(crew.known_at, zone)},
        *(each for each in (crew.not_planned_yet, crew.replaced) if each),
    ]
    for title, rules in ((_("Crew rules, then:"), crew.rules_then), (_("Crew rules, now:"), crew.rules_now)):
        if rules is not None:
            lines += ["", title, *(f"  {line}" for line in _rules(rules))]
    for place in crew.places:
        lines += ["", str(place.slot)]
        lines.append("  " + _("then: %(who)s") % {"who": _people(place.then)})
        lines.append("  " + _("now:  %(who)s") % {"who": _people(place.now)})
        lines += [f"  {each.sentence}" for each in place.since]
        for each in place.comparisons:
            lines += ["", *(f"  {line}" for line in _comparison(each))]
    return "\n".join([*lines, "", CAUTION]) + "\n"


def pointers_text(rules: Iterable[RuleWithPointers]) -> str:
    """Each rule in words and what it points at."""
    lines: list[str] = []
    for rule in rules:
        lines += [rule.title, f"  {rule.words}"]
        for each in rule.pointers:
            records = ", ".join(one.title for one in each.records)
            if each.records_left_off:
                records = _("%(records)s and %(more)s more") % {"records": records, "more": each.records_left_off}
            lines += [f"  - {each.sentence}", f"    {records}"]
        if rule.left_off:
            more = ngettext(
                "and %(more)s more pointer of this rule", "and %(more)s more pointers of this rule", rule.left_off
            )
            lines.append("  " + more % {"more": rule.left_off})
        if not rule.pointers:
            lines.append("  " + _("nothing"))
        lines.append("")
    return "\n".join([*lines, str(NO_ACCUSATION), "", CAUTION]) + "\n"


def _rules(rules: Rules) -> Iterator[str]:
    if rules.sentence:
        yield rules.sentence
    for each in rules.findings:
        yield f"{_('met') if each.met else _('not met')}: {each.sentence}"


def _comparison(comparison: Comparison) -> Iterator[str]:
    yield f"{comparison.worker}: {comparison.sentence}"
    for side in (comparison.then, comparison.now):
        if side.sentence:
            yield f"  {side.sentence}"
    yield ""
    for each in comparison.requirements:
        mark = "*" if each.differs else " "
        yield f"{mark} {each.sentence}"
        yield "    " + _("then: %(found)s") % {"found": _found(each.then, comparison.then)}
        yield "    " + _("now:  %(found)s") % {"found": _found(each.now, comparison.now)}
    yield ""
    if not comparison.differences:
        yield _("No record makes a difference.")
        return
    yield _("What makes the difference:")
    for difference in comparison.differences:
        yield f"- {difference.sentence}"
        for effect in difference.effects:
            yield "    " + _("%(requirement)s: then %(then)s, now %(now)s") % {
                "requirement": effect.sentence,
                "then": effect.then or _("not asked for"),
                "now": effect.now,
            }


def _found(leaf: LeafResult | None, side: Side) -> str:
    if leaf is None:
        return _("no answer") if side.answered is None else _("not asked for")
    word = _("met") if leaf.met else _("not met")
    return ", ".join(each for each in (word, leaf.found, leaf.shortfall) if each)


def _people(people: tuple[InPlace, ...]) -> str:
    return ", ".join(f"{each.worker} ({each.word})" for each in people) or _("nobody")
