#!/usr/bin/env python3
"""The registry's commands; `demo` and `test` also set up everything they need."""

import os
import sys
import traceback

COMMAND = sys.argv[1] if len(sys.argv) > 1 else "help"
# Of these a status of 1 is an answer, such as that somebody is refused or that the log is not in order: what keeps
# them from answering has a status of its own.
FAILED = 70 if COMMAND in ("decide", "import_records", "verify") else 1

# Kept to old syntax on purpose: an old Python must get as far as this sentence.
if sys.version_info < (3, 11):
    sys.stderr.write("This registry needs Python 3.11 or newer; this is Python %d.%d.\n" % sys.version_info[:2])
    sys.exit(FAILED)


def main():
    from registry import bootstrap

    bootstrap.prepare(sys.argv[1:])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")

    from django.core.management import execute_from_command_line

    from registry.database.data_folder import UnusableDataFolder
    from registry.database.server import DatabaseUnavailable

    try:
        execute_from_command_line(sys.argv)
    except (DatabaseUnavailable, UnusableDataFolder) as error:
        print(error, file=sys.stderr)
        # Of `decide` 2 says that the case file is wrong.
        sys.exit(FAILED if COMMAND == "decide" else 2)


if __name__ == "__main__":
    try:
        main()
    except SystemExit as leaving:
        if not isinstance(leaving.code, str):
            raise
        sys.stderr.write(leaving.code + "\n")
        sys.exit(FAILED)
    except Exception:
        traceback.print_exc()
        sys.exit(FAILED)
