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

ON_THE_READERS_BOOKS = (
    "EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = {table}.worker_id)"
    " OR {table}.recorded_at < ((SELECT registry_left_people()) ->> {table}.worker_id::text)::timestamptz"
)


def named_by(*accounts: str) -> Trigger:
    """A row names an open account of one of these kinds as ``recorded_by``.

    ``worker:by_id`` means the own account of the worker in column ``by_id``,
    ``employer:employer_id`` an account of that employer. Triggers run in the order of their
    names: what a table's own rule says of the record comes first.
    """
    arguments = ", ".join(f"'{each}'" for each in accounts)
    return Trigger("who_acts_is_named", "BEFORE INSERT", f"people_act_names_its_account({arguments})")


PLACEHOLDERS = {
    "about_person": (
        "{table}.worker_id = (SELECT registry_reader_worker()) OR "
        + ON_THE_READERS_BOOKS
        + " OR {table}.recorded_by_id = ANY ((SELECT registry_reader_colleagues())::bigint[])"
    ),
    "on_books": ON_THE_READERS_BOOKS,
    "was_on_books": "(SELECT registry_left_people()) ? {table}.worker_id::text",
    "corrects_own": (
        "{table}.supersedes_id IS NOT NULL AND registry_corrects_record_of("
        "(SELECT registry_reader_employer()), '{table}', {table}.supersedes_id, false)"
    ),
    "corrects_named": (
        "{table}.supersedes_id IS NOT NULL AND registry_corrects_record_of("
        "(SELECT registry_reader_employer()), '{table}', {table}.supersedes_id, true)"
    ),
}


def shown_to(table: str, condition: str = "{about_person}") -> ShownTo:
    """The application reads only rows of ``table`` that ``condition`` (SQL) shows to the reader.

    In it stand for:

    - ``{on_books}``: the row's ``worker_id`` is on the books of the reader's employer,
      or was when the row was recorded
    - ``{was_on_books}``: that person was on its books and has a last day there
    - ``{about_person}``: ``{on_books}``, or the ``worker_id`` is the reader, or the
      reader's employer recorded the row
    - ``{corrects_own}``: the row corrects what the reader's employer recorded;
      ``{corrects_named}``: or what names that employer
    """
    placed = {name: meaning.format(table=table) for name, meaning in PLACEHOLDERS.items()}
    return ShownTo(condition.format(**placed))
