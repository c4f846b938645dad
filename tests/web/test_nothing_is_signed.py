"""Every door that has a checkpoint signed refuses where the log is another than the one that was signed before."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client

from registry.demo import scenario
from registry.ledger import here, keys
from registry.ledger.mirror import own_mirror
from registry.ledger.models import Checkpoint
from registry.ledger.notes import CheckpointText, signed_note
from tests.scene import Scene, scene
from tests.world import sign_in


@pytest.fixture
def restored(db: None) -> Scene:
    """The scene, of which more was signed than there is: it was restored from a backup."""
    found = scene()
    newest = here.sign(at=found.now)
    lost = CheckpointText(keys.origin(), newest.size + 5, b"\7" * 32, found.now + timedelta(hours=1))
    own_mirror().remember_signed(signed_note(str(lost), keys.signers()))
    return found


def test_no_door_signs_a_second_history(restored: Scene) -> None:
    numbers = restored.numbers()
    worker = f"/workers/{restored.account(scenario.WORKER.username).worker_id}/transcript/"
    paper = {"language": "en", "paper": "A4"}
    doors = [
        (scenario.INSPECTOR.username, "POST", "/log/checkpoints/make/", {}),
        (scenario.INSPECTOR.username, "POST", "/api/log/checkpoints/", {}),
        (scenario.INSPECTOR.username, "GET", f"/files/{numbers['file']}/bundle/", {}),
        (scenario.INSPECTOR.username, "POST", worker, paper),
        (scenario.WORKER.username, "POST", worker, paper),
        ("", "GET", f"/shared/{restored.shared.token}/transcript/", paper),
    ]
    before = set(Checkpoint.objects.values_list("note", flat=True))
    for by, method, address, sent in doors:
        client = Client()
        if by:
            sign_in(client, restored.account(by))
        answer = client.post(address, sent) if method == "POST" else client.get(address, sent)
        assert answer.status_code == 503, address
        assert "Nothing was signed: the log in the database has" in answer.content.decode(), address
    assert set(Checkpoint.objects.values_list("note", flat=True)) == before
