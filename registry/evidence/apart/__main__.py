"""The child: limits itself, reads the file on its standard input, answers in lines of JSON.

The one argument is JSON: ``job``, ``language``, ``memory`` (bytes), ``processor`` (seconds) and what the
job takes. The last line says how it ended: ``{"done": true}`` or ``{"refused": [rule, sentence]}``;
without one of them it was stopped.
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import sys
import traceback
from typing import Any, BinaryIO

from registry.evidence.apart import words
from registry.evidence.apart.lines import line_of, written

OUT_OF_MEMORY = 77


def main() -> None:
    """Do what the argument asks."""
    asked = json.loads(sys.argv[1])
    answer, file = os.fdopen(os.dup(1), "wb"), sys.stdin.buffer
    # What a library might print is no part of the answer.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    words.speak(asked.pop("language"))
    _limit(memory=asked.pop("memory"), processor=asked.pop("processor"))
    try:
        {"table": _table, "document": _document}[asked.pop("job")](file, answer, **asked)
        answer.flush()
    except MemoryError:
        os._exit(OUT_OF_MEMORY)
    except BrokenPipeError:
        # Nobody listens any more.
        os._exit(0)
    except Exception as error:
        # The place and no more: what the exception says may be somebody's data.
        where = traceback.extract_tb(error.__traceback__)[-1]
        answer.write(written({"failed": f"{type(error).__name__} at {where.filename}:{where.lineno}"}))
        answer.flush()
    # Without tidying up, which for millions of objects takes as long as reading them.
    os._exit(0)


def _limit(*, memory: int, processor: int) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (processor, processor + 1))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    # macOS refuses it, or takes it and does not hold to it: there the watch from outside is the limit.
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (memory, memory))


def _table(file: BinaryIO, answer: BinaryIO, **options: Any) -> None:
    from registry.evidence.apart.tables import FileRefused, open_table

    try:
        with open_table(file, **options) as table:
            answer.write(written({"header": line_of(table.header), "even": table.even}))
            for row in table.rows:
                answer.write(written(line_of(row)))
    except FileRefused as refused:
        answer.write(written({"refused": [refused.rule, refused.message]}))
    else:
        answer.write(written({"done": True}))


def _document(file: BinaryIO, answer: BinaryIO, *, media_type: str) -> None:
    from registry.evidence.apart.contents import Deceptive, check

    try:
        check(file.read(), media_type)
    except Deceptive as found:
        answer.write(written({"refused": [found.rule, found.message]}))
    else:
        answer.write(written({"done": True}))


if __name__ == "__main__":
    main()
