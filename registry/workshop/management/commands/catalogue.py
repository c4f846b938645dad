from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from registry.workshop import catalogue


class Command(BaseCommand):
    help = (
        "Bring the catalogues in locale/ up to date with the sources, compile them, and name what lacks a translation."
    )
    requires_system_checks = []

    def handle(self, *args: Any, **options: Any) -> None:
        sources = catalogue.messages_of(settings.PROJECT)
        for path in sorted(Path(settings.LOCALE_PATHS[0]).glob("*/LC_MESSAGES/django.po")):
            current = catalogue.brought_up_to_date(catalogue.kept(path), sources)
            path.write_bytes(catalogue.text_of(current))
            path.with_suffix(".mo").write_bytes(catalogue.compiled(current))
            missing = catalogue.untranslated(current)
            self.stdout.write(
                f"{path.parent.parent.name}: {len(current)} messages, {len(missing)} without a translation"
            )
            for each in missing:
                self.stdout.write(f"  {each!r}")
