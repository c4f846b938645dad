from importlib import import_module
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

FOLDER = Path("tests") / "benchmarks"


class Command(BaseCommand):
    help = "Run benchmarks, which print figures and are no tests; without a name, list them."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("names", nargs="*", help="benchmarks to run, such as decide_5000")

    def handle(self, *args: Any, names: list[str], **options: Any) -> None:
        known = {path.stem: path for path in sorted((settings.PROJECT / FOLDER).glob("*.py"))}
        if unknown := [name for name in names if name not in known]:
            raise CommandError(f"There is no benchmark {unknown[0]}; there are {', '.join(known)}.")
        for name in names:
            self.stdout.write(f"{name}:")
            import_module(f"tests.benchmarks.{name}").main()
        if not names:
            for name, path in known.items():
                first_line = path.read_text(encoding="utf-8").splitlines()[0]
                self.stdout.write(f"{name:28} {first_line.strip(chr(34))}")
