"""How long a transcript of forty years and 3,000 entries takes to print.

Run from the project's root:

    python3 manage.py bench print_transcript

The record is in memory: this measures layout, tags, fonts, the embedded data and
the signature. Times are of the processor, as other work on the machine would only
disturb them. The aim is a median of less than 5 s for both together.
"""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from time import process_time

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")

import django

django.setup()

from registry.transcripts.check import Check  # noqa: E402 (needs the settings)
from registry.transcripts.signing import sign  # noqa: E402
from registry.transcripts.transcript_document import print_transcript  # noqa: E402
from tests.transcripts.lives import forty_years  # noqa: E402

AIM_S = 5.0
ENTRIES = 3000
RUNS = 5
AT = datetime(2026, 2, 3, 4, 5, 6, tzinfo=UTC)


def main() -> int:
    """Print the figures; the exit status says whether the aim is reached."""
    printing, signing = [], []
    for _run in range(RUNS):
        life = forty_years(ENTRIES)
        began = process_time()
        made = print_transcript(life, printed_at=AT, check=Check("https://register.invalid", "9QXKT4M2"))
        printed = process_time()
        signed = sign(made, signed_at=AT)
        printing.append(printed - began)
        signing.append(process_time() - printed)
    print(f"{ENTRIES} entries, {len(signed) / 1e6:.1f} MB, {RUNS} runs")
    print(f"print: median {median(printing):.2f} s, worst {max(printing):.2f} s")
    print(f"sign:  median {median(signing):.2f} s, worst {max(signing):.2f} s")
    whole = median(each + more for each, more in zip(printing, signing, strict=True))
    print(f"both:  median {whole:.2f} s; the aim is under {AIM_S:.0f} s")
    return 0 if whole < AIM_S else 1


if __name__ == "__main__":
    sys.exit(main())
