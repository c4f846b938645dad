"""How a line of the log is written: JSON, and of what a library says only where in its sources it was said.

Imported by the settings' ``LOGGING``, before any application is loaded.
"""

from __future__ import annotations

import logging
import traceback
from typing import Any

import structlog
from structlog.typing import EventDict

# Our own packages that know nothing of what is recorded: what the database lacks, and which requests took too long.
QUOTED = ("registry.database", "registry.serving")

structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True, key="at"),
        structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
    ],
    wrapper_class=structlog.stdlib.BoundLogger,
    logger_factory=structlog.stdlib.LoggerFactory(),
)


def formatter() -> logging.Formatter:
    """For the handler: one line of JSON for each event, or for a library's message the line that tells of it."""
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[_only_where_it_was_said],
        processors=[
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            structlog.processors.JSONRenderer(sort_keys=False),
        ],
    )


def where_it_failed(error: BaseException) -> list[dict[str, Any]]:
    """The error and what it came from, innermost first: its class and the lines it passed, without its words."""
    told: list[dict[str, Any]] = []
    following: BaseException | None = error
    while following is not None and len(told) < 5:
        lines = traceback.extract_tb(following.__traceback__)[-12:]
        told.append(
            {
                "error": f"{type(following).__module__}.{type(following).__qualname__}",
                "lines": [f"{_in_sources(each.filename)}:{each.lineno} {each.name}" for each in lines],
            }
        )
        following = following.__cause__ or following.__context__
    return told[::-1]


def _only_where_it_was_said(logger: Any, method: str, said: EventDict) -> EventDict:
    record: logging.LogRecord = said["_record"]
    told: EventDict = {
        "event": "library_message",
        "level": record.levelname.lower(),
        "logger": record.name,
        "said_at": f"{_in_sources(record.pathname)}:{record.lineno}",
        "_record": record,
        "_from_structlog": False,
    }
    if record.name.startswith(QUOTED):
        told["said"] = said["event"]
    if record.exc_info and record.exc_info[1] is not None:
        told["failed"] = where_it_failed(record.exc_info[1])
    return told


def _in_sources(path: str) -> str:
    """The path within the project or the library, not where on the machine they lie."""
    for start in ("site-packages/", "lib/python"):
        if start in path:
            return path.rpartition(start)[2]
    known = path.find("/registry/"), path.find("/api/")
    return path[max(known) + 1 :] if max(known) >= 0 else path.rpartition("/")[2]
