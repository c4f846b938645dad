import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

FOLDER = Path("fixtures") / "screenshots"
TESTS = "tests/browser/test_three_users.py"
"""They drive Chromium over the demonstration and keep what they see where REGISTRY_SCREENSHOTS says."""


class Command(BaseCommand):
    help = "Take the pictures of the README again, from the demonstration in Chromium."
    requires_system_checks = []

    def handle(self, *args: Any, **options: Any) -> None:
        with tempfile.TemporaryDirectory() as folder:
            seen = {**os.environ, "REGISTRY_SCREENSHOTS": folder}
            command = [sys.executable, "-m", "pytest", "-q", TESTS]
            if subprocess.run(command, cwd=settings.PROJECT, env=seen, check=False).returncode:
                raise CommandError("The tests that take the pictures failed; the pictures are as they were.")
            for picture in sorted((settings.PROJECT / FOLDER).glob("*.png")):
                taken = sorted(Path(folder).glob(f"{picture.stem}-[0-9]*.png"))
                if taken:
                    shutil.copyfile(taken[-1], picture)
                self.stdout.write(f"{picture.name}: {'taken' if taken else 'not taken by these tests'}")
