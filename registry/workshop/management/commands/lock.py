import shutil
import subprocess
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

COMPILE = ("pip", "compile", "--quiet", "--universal", "--generate-hashes", "--python-version", "3.11")
FOR_RUNNING = (*COMPILE, "pyproject.toml", "-o", "requirements.lock")
FOR_TESTS = (*COMPILE, "--extra", "dev", "-c", "requirements.lock", "pyproject.toml", "-o", "requirements-dev.lock")


class Command(BaseCommand):
    help = "Pin what pyproject.toml names in requirements.lock (for running) and requirements-dev.lock (for tests)."
    requires_system_checks = []

    def handle(self, *args: Any, **options: Any) -> None:
        uv = shutil.which("uv")
        if uv is None:
            raise CommandError("This needs uv: python3 -m pip install uv")
        for arguments in (FOR_RUNNING, FOR_TESTS):
            done = subprocess.run([uv, *arguments], cwd=settings.PROJECT, check=False)
            if done.returncode:
                raise CommandError(f"uv ended with status {done.returncode}; {arguments[-1]} is as it was.")
