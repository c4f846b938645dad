"""A log never signs a second history: not after a restored backup, not after anything was taken out or put in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction

from registry.ledger import here, keys
from registry.ledger.memory import CannotSign, SecondHistory
from registry.ledger.mirror import own_mirror
from registry.ledger.models import Checkpoint
from registry.ledger.notes import CheckpointText, Note
from registry.ledger.services import make_checkpoint, place_entries
from registry.people import services as people
from tests.own_log import keep_log_in
from tests.world import World


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    keep_log_in(tmp_path, monkeypatch)
    return tmp_path


@contextmanager
def taken_back() -> Iterator[None]:
    """What is recorded meanwhile is gone afterwards from the database, and from it alone: a backup is restored."""
    backup = transaction.savepoint()
    yield
    transaction.savepoint_rollback(backup)


def recorded(world: World, name: str) -> None:
    people.register_employer(name=name, jurisdiction="US", recorded_at=world.now)


def refused(world: World) -> str:
    """What is said where nothing is signed; and nothing was."""
    notes = set(Checkpoint.objects.values_list("note", flat=True))
    signed = own_mirror().signed
    with pytest.raises(SecondHistory) as told:
        here.sign(at=world.now)
    assert set(Checkpoint.objects.values_list("note", flat=True)) == notes
    assert own_mirror().signed == signed
    return str(told.value)


def test_a_restored_backup_is_not_signed_while_it_is_shorter(world: World) -> None:
    first = here.sign(at=world.now)
    with taken_back():
        recorded(world, "Cormorant Lift Yard")
        later = here.sign(at=world.now)
    assert f"has {first.size} leaves, and a checkpoint of {later.size} leaves was signed" in refused(world)


def test_a_restored_backup_is_not_signed_with_another_root_for_the_same_size(world: World) -> None:
    here.sign(at=world.now)
    with taken_back():
        recorded(world, "Cormorant Lift Yard")
        later = here.sign(at=world.now)
    recorded(world, "Skarnholt Tower Works")
    assert f"for its first {later.size} leaves, the log in the database leads to another root" in refused(world)


def test_a_restored_backup_is_not_signed_once_it_has_grown_longer(world: World) -> None:
    here.sign(at=world.now)
    with taken_back():
        recorded(world, "Cormorant Lift Yard")
        later = here.sign(at=world.now)
    for number in range(300):
        recorded(world, f"Yard {number}")
    assert f"for its first {later.size} leaves, the log in the database leads to another root" in refused(world)


def test_what_was_verified_here_is_gone_on_from_too(world: World) -> None:
    here.sign(at=world.now)
    with taken_back():
        recorded(world, "Cormorant Lift Yard")
        here.sign(at=world.now)
        assert here.check(resume=False).in_order
    (own_mirror().folder / "signed").unlink()
    recorded(world, "Skarnholt Tower Works")
    assert "leads to another root than a checkpoint that was signed or verified before" in refused(world)


def test_a_checkpoint_that_somebody_put_into_the_database_is_not_gone_on_from(world: World) -> None:
    first = here.sign(at=world.now)
    recorded(world, "Cormorant Lift Yard")
    with taken_back():
        size = make_checkpoint(at=world.now, signers=keys.signers()).size
    place_entries()
    Checkpoint.objects.create(size=size, root=b"\7" * 32, note=first.note, made_at=world.now)
    recorded(world, "Skarnholt Tower Works")
    assert "leads to another root than the newest checkpoint in the database" in refused(world)


def test_a_mirror_that_is_gone_is_not_taken_for_an_empty_past(world: World) -> None:
    first = here.sign(at=world.now)
    for file in own_mirror().folder.iterdir():
        file.unlink()
    assert f"was signed before, up to {first.size} leaves, and this machine's mirror remembers none" in refused(world)
    assert here.check(resume=False).in_order
    recorded(world, "Cormorant Lift Yard")
    assert here.sign(at=world.now).size == first.size + 1


@pytest.mark.parametrize("damaged", ["", "nothing", "a\n\n\u2014 b c\n"])
def test_a_damaged_memory_is_no_empty_one(world: World, damaged: str) -> None:
    here.sign(at=world.now)
    own_mirror().remember_signed(damaged)
    assert "a checkpoint in this machine's mirror is damaged" in refused(world)


def test_a_log_keeps_its_name(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    here.sign(at=world.now)
    monkeypatch.setenv("LOG_ORIGIN", "registry.example/another")
    assert "and would now be registry.example/another" in refused(world)


def test_a_log_that_grows_is_signed_again_and_again(world: World) -> None:
    sizes = []
    for number in range(3):
        for each in range(90):
            recorded(world, f"Yard {number} {each}")
        sizes.append(here.sign(at=world.now + timedelta(minutes=number)).size)
        assert own_mirror().signed == Checkpoint.objects.get(size=sizes[-1]).note
    assert sizes == sorted(set(sizes))


def test_a_signature_that_the_database_lost_is_remembered(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine stops after it signed and before the database has the checkpoint."""

    def stops(**given: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as interrupted:
        interrupted.setattr(Checkpoint.objects, "create", stops)
        with pytest.raises(KeyboardInterrupt):
            here.sign(at=world.now)
    assert not Checkpoint.objects.exists()
    note = own_mirror().signed
    assert note is not None
    said = CheckpointText.verified(note, [keys.signers()[0].verifier_key])
    again = here.sign(at=world.now)
    assert (again.size, bytes(again.root)) == (said.size, said.root)


def test_each_sign_reads_little_however_long_the_log_is(
    world: World, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    for number in range(270):
        recorded(world, f"Yard {number}")
    here.sign(at=world.now)
    recorded(world, "Cormorant Lift Yard")
    with django_assert_max_num_queries(20):  # type: ignore[attr-defined]
        here.sign(at=world.now)


@pytest.mark.parametrize(
    "arguments", [["checkpoint"], ["checkpoint", "--every", "10"], ["signing_key", "rotate"]], ids=" ".join
)
def test_every_command_that_signs_refuses_and_says_why(world: World, arguments: list[str]) -> None:
    here.sign(at=world.now)
    with taken_back():
        recorded(world, "Cormorant Lift Yard")
        here.sign(at=world.now)
    with pytest.raises(CommandError, match="Nothing was signed: ") as told:
        call_command(*arguments, stdout=StringIO())
    assert told.value.returncode == 2


def test_a_rotation_interrupted_at_its_beginning_is_begun_again(world: World, folder: Path) -> None:
    here.sign(at=world.now)
    before = keys.signers()[0].verifier_key
    (folder / "log-signing-key.before.pem").hardlink_to(folder / "log-signing-key.pem")
    assert [each.verifier_key for each in keys.signers()] == [before]
    assert not keys.rotating()
    recorded(world, "Cormorant Lift Yard")
    signer, checkpoint, retired = here.rotate_key(at=world.now)
    assert signer.verifier_key != before
    assert retired is not None
    assert Note.parse(checkpoint.note).signed_by([before, signer.verifier_key]) == [signer.verifier_key, before]


def test_whatever_cannot_be_signed_is_one_kind_of_refusal(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOG_SIGNING_KEY", "no key")
    with pytest.raises(CannotSign):
        here.sign(at=world.now)


def test_after_a_loss_the_log_goes_on_under_another_name(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """As DEVELOPERS.md says under "Restoring a backup"."""
    here.sign(at=world.now)
    old = keys.signers()[0].verifier_key
    with taken_back():
        recorded(world, "Cormorant Lift Yard")
        lost = here.sign(at=world.now)
    refused(world)
    mirror = own_mirror().folder
    mirror.rename(mirror.with_name("lost"))
    monkeypatch.setenv("LOG_ORIGIN", "registry.example/after-the-loss")
    assert "mirror remembers none of it" in refused(world)
    call_command("verify", "--trust", str(old), stdout=StringIO(), stderr=StringIO())
    recorded(world, "Skarnholt Tower Works")
    made = here.sign(at=world.now)
    assert made.size == lost.size + 1, "the new key is a record too"
    assert CheckpointText.parse(made.note.rpartition("\n\n")[0] + "\n").origin == "registry.example/after-the-loss"
    assert here.check(resume=False).in_order
