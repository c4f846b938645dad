"""The log's commands: what they print, what they exit with."""

from __future__ import annotations

import json
import os
import signal
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import OperationalError

from registry.evidence.models import HoursEntry
from registry.ledger import here, keys
from registry.ledger.management.commands import checkpoint as checkpoint_command
from registry.ledger.mirror import own_mirror
from registry.ledger.models import Checkpoint
from registry.ledger.notes import CheckpointText, Note, Signer, VerifierKey
from registry.ledger.queries import recorded_keys
from registry.ledger.verification import Finding, Report
from registry.people import services as people
from tests.own_log import keep_log_in
from tests.world import World


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    keep_log_in(tmp_path, monkeypatch)
    return tmp_path


def run(*arguments: Any) -> str:
    out = StringIO()
    call_command(*[str(each) for each in arguments], stdout=out, stderr=StringIO())
    return out.getvalue()


def refused(*arguments: Any) -> CommandError:
    with pytest.raises(CommandError) as raised:
        run(*arguments)
    return raised.value


def pem(key: Ed25519PrivateKey) -> str:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()).decode()


def test_a_checkpoint_is_printed_as_its_signed_note_and_its_key_is_trusted(world: World) -> None:
    note = run("checkpoint")
    signer = keys.signers()[0]
    said = CheckpointText.verified(note, [signer.verifier_key])
    assert Checkpoint.objects.get().size == said.size > 0
    assert own_mirror().trusted_keys == [signer.verifier_key]


def test_an_unusable_key_makes_no_checkpoint(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOG_SIGNING_KEY", "no key")
    assert refused("checkpoint").returncode == 2
    assert not Checkpoint.objects.exists()


def test_checkpoints_go_on_through_a_restart_of_the_database_until_interrupted(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, newcomers = run("checkpoint"), iter(["Sandoval", "Okonjo"])
    outcomes = iter(["sign", "away", "sign", "sign"])

    def sign(*, at: datetime) -> Checkpoint:
        outcome = next(outcomes, None)
        if outcome is None:
            raise KeyboardInterrupt
        if outcome == "away":
            raise OperationalError("the database system is starting up\nmore")
        return really(at=at)

    def wait(command: object, due: float) -> None:
        if name := next(newcomers, None):
            world.worker("Mira", name)

    really = here.sign
    monkeypatch.setattr(checkpoint_command.here, "sign", sign)
    monkeypatch.setattr(checkpoint_command.Command, "_wait_until", wait)
    monkeypatch.setattr(checkpoint_command.connection, "close", lambda: None)
    before = signal.getsignal(signal.SIGTERM)
    try:
        lines = [line.split(" ", 1)[1] for line in run("checkpoint", "--every", "10").splitlines()]
    finally:
        signal.signal(signal.SIGTERM, before)
    size = CheckpointText.parse(first.rpartition("\n\n")[0] + "\n").size
    newest = Checkpoint.objects.order_by("size").last()
    assert newest is not None
    assert lines == [
        f"checkpoint of {size} leaves, root {bytes(Checkpoint.objects.get(size=size).root).hex()}",
        "The database does not answer, trying again: the database system is starting up",
        "The database answers again.",
        f"checkpoint of {newest.size} leaves, root {bytes(newest.root).hex()}",
        f"nothing new since the checkpoint of {newest.size} leaves",
        "Stopped.",
    ]
    assert newest.size > size


def test_a_schedule_stops_when_the_process_that_started_it_is_gone(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checkpoint_command.connection, "close", lambda: None)
    parents = iter([os.getppid(), os.getppid()])
    monkeypatch.setattr(checkpoint_command.os, "getppid", lambda: next(parents, -1))
    before = signal.getsignal(signal.SIGTERM)
    try:
        lines = run("checkpoint", "--every", "10", "--with-parent").splitlines()
    finally:
        signal.signal(signal.SIGTERM, before)
    assert len(lines) == 1


def test_what_is_in_order_exits_with_zero_and_says_what_was_looked_at(world: World) -> None:
    run("checkpoint")
    told = run("verify")
    size = Checkpoint.objects.get().size
    assert f"{size} leaves, 1 checkpoints, 0 entries without a place yet" in told
    assert told.endswith("IN ORDER: nothing was found.\n")
    assert own_mirror().size == size
    people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    run("checkpoint")
    report = json.loads(run("verify", "--resume", "--json"))
    assert (report["in_order"], report["started_from"], report["checkpoints"]) == (True, size, 2)


def findings(*many: Finding) -> Report:
    return Report(leaves=9, checkpoints=1, findings=list(many))


def test_a_finding_is_told_with_record_detail_and_since_and_exits_with_one(
    world: World, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = Finding("altered", "evidence_hoursentry", 12, 'operation was "climbing"', 3, "in order on Monday")
    monkeypatch.setattr(here, "check", lambda **given: findings(found))
    with pytest.raises(SystemExit) as exit_:
        call_command("verify")
    assert exit_.value.code == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == (
        'hours entry 12 (evidence_hoursentry) was altered: operation was "climbing" [in order on Monday]'
    )
    assert lines[-1] == "NOT IN ORDER: 1 found."


def test_more_than_fifty_findings_are_counted_by_kind_and_listed_in_json(
    world: World, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    many = [Finding("removed", "evidence_hoursentry", number, "the record is gone") for number in range(60)]
    monkeypatch.setattr(here, "check", lambda **given: findings(*many, Finding("altered", "people_worker", 1, "x")))
    with pytest.raises(SystemExit):
        call_command("verify")
    told = capsys.readouterr().out
    assert told.count("the record is gone") == 50
    assert "… 11 more are not shown here; --json lists all. In all:" in told
    assert "  hours entry was removed: 60 times\n  worker was altered: 1 time" in told
    with pytest.raises(SystemExit):
        call_command("verify", "--json")
    assert len(json.loads(capsys.readouterr().out)["findings"]) == 61


def test_a_checkpoint_kept_elsewhere_that_the_log_does_not_lead_to_is_found(
    world: World, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("checkpoint")
    kept = folder / "kept.txt"
    text = str(CheckpointText(keys.origin(), 5, b"\7" * 32, datetime(2026, 1, 1, tzinfo=UTC)))
    kept.write_text(text + "\n" + keys.signers()[0].signature_line(text), encoding="utf-8")
    with pytest.raises(SystemExit):
        call_command("verify", "--kept", str(kept))
    assert "kept elsewhere, and the log does not lead to it" in capsys.readouterr().out


def test_a_key_is_trusted_for_a_run_or_from_now_on(world: World) -> None:
    run("checkpoint")
    other = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"5" * 32)).verifier_key
    run("verify", "--key", other)
    assert other not in own_mirror().trusted_keys
    run("verify", "--trust", other)
    run("verify", "--trust", other)
    assert own_mirror().trusted_keys.count(other) == 1


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(["--key", "no key"], id="a key that is none"),
        pytest.param(["--kept", "/nowhere/checkpoint.txt"], id="a file that is not there"),
    ],
)
def test_verification_that_cannot_be_done_exits_with_two(world: World, arguments: list[str]) -> None:
    assert refused("verify", *arguments).returncode == 2


def test_progress_is_a_line_for_each_tenth_where_no_terminal_is(world: World) -> None:
    run("checkpoint")
    told = StringIO()
    call_command("verify", stdout=StringIO(), stderr=told)
    size = Checkpoint.objects.get().size
    assert told.getvalue() == f"{size:,} of {size:,} leaves\n"


def test_progress_is_a_bar_on_a_terminal(world: World) -> None:
    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    run("checkpoint")
    told = Terminal()
    call_command("verify", stdout=StringIO(), stderr=told, no_color=True)
    size = Checkpoint.objects.get().size
    assert told.getvalue() == f"\r[{'#' * 32}] {size:,} of {size:,} leaves\n"


def test_proofs_are_written_and_opened_only_when_asked(world: World, folder: Path) -> None:
    worker = world.worker("Tomas", "Ferreira")
    world.hours(worker, days=1)
    first = CheckpointText.parse(run("checkpoint").rpartition("\n\n")[0] + "\n").size
    entry = HoursEntry.objects.get()
    closed = json.loads(run("proof", "inclusion", "evidence_hoursentry", entry.pk))
    assert "opening" not in closed
    out = folder / "proof.json"
    assert run("proof", "inclusion", "evidence_hoursentry", entry.pk, "--opened", "--out", out) == ""
    opened = json.loads(out.read_text(encoding="utf-8"))
    assert opened["opening"]["personal"]["worker_id"] == worker.pk
    world.worker("Mira", "Sandoval")
    run("checkpoint")
    under_the_first = json.loads(run("proof", "inclusion", "evidence_hoursentry", entry.pk, "--size", first))
    assert under_the_first == closed
    sizes = list(Checkpoint.objects.values_list("size", flat=True))
    grown = json.loads(run("proof", "consistency", *sizes))
    assert [grown["earlier"], grown["later"]] == list(Checkpoint.objects.values_list("note", flat=True))


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(["inclusion", "evidence_hoursentry", "404"], id="no record"),
        pytest.param(["inclusion", "no_table", "1", "--opened"], id="no table"),
        pytest.param(["inclusion", "people_worker", "1", "--size", "3"], id="no checkpoint"),
        pytest.param(["consistency", "3", "9"], id="no checkpoints"),
    ],
)
def test_a_proof_of_what_is_not_there_exits_with_two(world: World, arguments: list[str]) -> None:
    run("checkpoint")
    assert refused("proof", *arguments).returncode == 2


def test_rotation_hands_over_by_a_checkpoint_that_both_keys_sign(world: World, folder: Path) -> None:
    run("checkpoint")
    before = keys.signers()[0].verifier_key
    told = run("signing_key", "rotate")
    after = keys.signers()
    assert [each.verifier_key for each in after] == [VerifierKey.parse(run("signing_key", "show"))]
    new = after[0].verifier_key
    assert new != before
    assert str(new) in told
    newest = Checkpoint.objects.order_by("size").last()
    assert newest is not None
    assert Note.parse(newest.note).signed_by([before, new]) == [new, before]
    assert recorded_keys() == [before, new]
    assert (folder / f"log-signing-key.{before.key_id.hex()}.retired.pem").exists()
    assert not keys.rotating()
    assert run("verify").endswith("IN ORDER: nothing was found.\n")


def test_an_interrupted_rotation_is_finished_and_loses_no_key(world: World, folder: Path) -> None:
    run("checkpoint")
    before = keys.signers()[0].verifier_key
    keys.rotate()
    begun = keys.signers()[0].verifier_key
    run("signing_key", "rotate")
    assert [each.verifier_key for each in keys.signers()] == [begun]
    assert (folder / f"log-signing-key.{before.key_id.hex()}.retired.pem").exists()


def test_keys_of_the_environment_are_shown_and_rotated_by_hand(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    old, new = (Ed25519PrivateKey.from_private_bytes(each * 32) for each in (b"1", b"2"))
    monkeypatch.setenv("LOG_ORIGIN", "registry.example/log")
    monkeypatch.setenv("LOG_SIGNING_KEY", pem(old))
    first = Signer("registry.example/log", old).verifier_key
    assert run("signing_key", "show") == f"{first}\n"
    error = refused("signing_key", "rotate")
    assert error.returncode == 2
    assert "LOG_SIGNING_KEY_BEFORE" in str(error)
    run("checkpoint")
    monkeypatch.setenv("LOG_SIGNING_KEY_BEFORE", pem(old))
    monkeypatch.setenv("LOG_SIGNING_KEY", pem(new))
    second = Signer("registry.example/log", new).verifier_key
    assert Note.parse(run("checkpoint")).signed_by([first, second]) == [second, first]
