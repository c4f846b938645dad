"""A link to the record of somebody who was erased shows nothing any more, though its time has not run out."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from registry.ledger.models import Entry
from registry.retention.erasure import erase_worker
from registry.transcripts.models import SharedLink
from registry.transcripts.sharing import RECORD, LinkClosed, look_through, share
from tests.retention.leaver import Leaver

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def test_an_erasure_closes_links_and_takes_their_salts(leaver: Leaver, later: datetime) -> None:
    link = share(worker=leaver.worker, days=7, note="", at=later, shared_by=leaver.account)
    look_through(token=link.token, what=RECORD, at=later, looked_by=None)
    erase_worker(worker=leaver.worker, ground="The person asked for it.", at=later, recorded_by=None)
    with pytest.raises(LinkClosed):
        look_through(token=link.token, what=RECORD, at=later + timedelta(hours=1), looked_by=None)
    assert [each.note for each in SharedLink.objects.order_by("id")] == ["Erased", ""]
    for kind in ("transcripts_sharedlink", "transcripts_linkopening"):
        assert {each.salt for each in Entry.objects.filter(kind=kind)} == {None}
