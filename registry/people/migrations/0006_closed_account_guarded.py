from django.db import migrations

from registry.database.grants import grant, shown_to
from registry.database.sql_files import run_sql_file
from registry.ledger.logging_of_tables import log_table


class Migration(migrations.Migration):
    """Closing an account is append-only and logged, is final, and ends what the account sent out."""

    dependencies = [
        ("people", "0005_closed_account"),
        ("evidence", "0005_erased_documents"),
        ("ledger", "0003_logged_tables"),
        ("retention", "0001_erasure"),
        ("database", "0004_as_the_register"),
    ]
    operations = [
        run_sql_file(__file__, "closing.sql"),
        grant("people_closedaccount", ["SELECT", "INSERT"]),
        log_table("people_closedaccount"),
        # A worker's account is the worker's own affair, a dispatcher's the employer's.
        shown_to(
            "people_closedaccount",
            """
                EXISTS (SELECT FROM people_account closed WHERE closed.id = people_closedaccount.account_id
                        AND (closed.employer_id = (SELECT registry_reader_employer())
                             OR closed.worker_id = (SELECT registry_reader_worker())))
            """,
        ),
    ]
