"""What waits for the signed-in worker's signature, for the navigation."""

from __future__ import annotations

from django import template

from registry.evidence.countersigning import waiting_for
from registry.people.models import Account

register = template.Library()


@register.simple_tag
def waiting_signatures(account: Account) -> int:
    """How many entries wait for the account's worker to countersign."""
    return waiting_for(account.worker_id).count() if account.worker_id else 0
