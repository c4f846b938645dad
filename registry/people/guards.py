"""What tables about people are held to, and which of their rows are shown to whom: guards that models declare.

The SQL functions and views that a condition may ask are in ``sql/readers.sql``
and in the ``readers.sql`` of higher packages. Write the reader's own numbers as
``(SELECT registry_reader_worker())``, so that they are worked out once in a statement.
"""

from __future__ import annotations

from registry.database.guards import ShownTo, Trigger

worker_is_not_erased = Trigger(
    "worker_is_not_erased", "AFTER INSERT", "people_worker_is_not_erased()", once_a_statement=True
)
"""Nothing new is recorded about a worker who has been erased."""

ABOUT_THE_READER_OR_THEIR_PEOPLE = (
    "{table}.worker_id = (SELECT registry_reader_worker()) OR EXISTS "
    "(SELECT FROM registry_own_people own WHERE own.worker_id = {table}.worker_id)"
)


def shown_to(table: str, condition: str = "{about_person}") -> ShownTo:
    """The application reads only rows of ``table`` that ``condition`` (SQL) shows to the reader.

    ``{about_person}`` in it stands for: the row's ``worker_id`` is the reader, or
    on the books of the reader's employer.
    """
    return ShownTo(condition.format(about_person=ABOUT_THE_READER_OR_THEIR_PEOPLE.format(table=table)))
