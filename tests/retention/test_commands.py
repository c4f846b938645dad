"""The keeper's commands: what is kept, erasing, and a data request."""

from __future__ import annotations

import zipfile
from datetime import datetime
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from registry.ledger.models import Erasure
from tests.retention.leaver import Leaver, leaves_the_employer
from tests.world import World

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])
GROUND = "All periods have run out; the person asked for it."


def said(name: str, **options: Any) -> str:
    out = StringIO()
    call_command(name, stdout=out, **options)
    return out.getvalue()


@pytest.fixture
def _forty_years_on(later: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    for command in ("erase", "retention"):
        module = f"registry.retention.management.commands.{command}"
        monkeypatch.setattr(f"{module}.timezone", SimpleNamespace(now=lambda: later))


def test_what_is_kept_is_listed_record_by_record(leaver: Leaver) -> None:
    listed = said("retention", worker=leaver.worker.number)
    assert "keep  hours entry" in listed.lower()
    assert listed.strip().splitlines()[-1].startswith(leaver.worker.number)


def test_nobody_is_due_while_records_are_within_their_period(leaver: Leaver) -> None:
    assert said("retention", due=True) == ""
    assert leaver.worker.number in said("retention", jurisdiction="US")
    assert said("retention", jurisdiction="XX") == ""


@pytest.mark.usefixtures("_forty_years_on")
def test_whose_periods_have_run_out_is_due(leaver: Leaver, world: World) -> None:
    assert f"{leaver.worker.number}  due for erasure" in said("retention", due=True)
    # The assessor is still employed: what is open is kept.
    assert world.assessor.number not in said("retention", due=True)


def test_erasing_too_early_names_what_is_kept(leaver: Leaver) -> None:
    with pytest.raises(CommandError, match=r"(?s)Not erased:.*Hours entry 1: kept through"):
        said("erase", worker=leaver.worker.number, ground=GROUND, yes=True)
    assert not Erasure.objects.exists()


@pytest.mark.usefixtures("_forty_years_on")
class TestErasing:
    def test_a_dry_run_erases_nothing(self, leaver: Leaver) -> None:
        told = said("erase", worker=leaver.worker.number, ground=GROUND, dry_run=True)
        assert "would be erased" in told
        assert not Erasure.objects.exists()

    def test_the_number_is_asked_for_again(self, leaver: Leaver, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("builtins.input", lambda question: "W-000000")
        with pytest.raises(CommandError, match="not the worker's number"):
            said("erase", worker=leaver.worker.number, ground=GROUND)
        assert not Erasure.objects.exists()
        monkeypatch.setattr("builtins.input", lambda question: leaver.worker.number)
        assert "is erased" in said("erase", worker=leaver.worker.number, ground=GROUND)
        leaver.worker.refresh_from_db()
        assert leaver.worker.family_name != "Oberthur"
        assert Erasure.objects.get().ground == GROUND

    def test_nobody_is_erased_twice(self, leaver: Leaver) -> None:
        said("erase", worker=leaver.worker.number, ground=GROUND, yes=True)
        with pytest.raises(CommandError, match="Nothing is left to erase"):
            said("erase", worker=leaver.worker.number, ground=GROUND, yes=True)
        assert f"{leaver.worker.number}  erased" in said("retention")

    def test_the_ground_names_nobody(self, leaver: Leaver) -> None:
        with pytest.raises(CommandError, match="Leave the person's name out"):
            said("erase", worker=leaver.worker.number, ground="Oberthur asked for it", yes=True)

    def test_somebody_who_works_elsewhere_by_now_is_kept(self, leaver: Leaver, world: World) -> None:
        with pytest.raises(CommandError, match="Not erased"):
            said("erase", worker=world.assessor.number, ground=GROUND, yes=True)
        leaves_the_employer(world, world.assessor)
        assert "would be erased" in said("erase", worker=world.assessor.number, ground=GROUND, dry_run=True)


def test_a_data_request_is_written_for_its_owners_eyes(leaver: Leaver, tmp_path: Path) -> None:
    out = tmp_path / "held.zip"
    assert "hand it to the person alone" in said("data_request", worker=leaver.worker.number, out=out)
    assert out.stat().st_mode & 0o777 == 0o600
    with zipfile.ZipFile(out) as packed:
        assert any(name.endswith(".json") for name in packed.namelist())


def test_a_number_that_is_nobodys_is_said_to_be_so(db: None, tmp_path: Path) -> None:
    for name, more in (("retention", {}), ("erase", {"ground": GROUND}), ("data_request", {"out": tmp_path / "x.zip"})):
        with pytest.raises(CommandError, match="W-999999"):
            said(name, worker="W-999999", **more)
