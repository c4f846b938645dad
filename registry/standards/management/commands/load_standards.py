from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from registry.engine.bad_input import BadInput
from registry.standards.files import SHIPPED
from registry.standards.services import load_standard_files


class Command(BaseCommand):
    help = "Load role standards from YAML files, by default those in fixtures/standards."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="*", type=Path, metavar="FILE")

    def handle(self, *args: Any, files: list[Path], **options: Any) -> None:
        try:
            loaded = load_standard_files(files or sorted(SHIPPED.glob("*.yaml")), recorded_at=timezone.now())
        except (BadInput, OSError) as error:
            raise CommandError(str(error)) from error
        for each in loaded:
            state = "loaded" if each.is_new else "already there"
            self.stdout.write(f"{each.version.key} version {each.version.version}: {state}")
