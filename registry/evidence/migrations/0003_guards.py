from django.db import migrations

from registry.database.grants import grant
from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [
        ("database", "0001_initial"),
        ("people", "0001_initial"),
        ("equipment", "0002_initial"),
        ("evidence", "0002_initial"),
    ]
    operations = [
        run_sql_file(__file__, "versions.sql"),
        # Accounts are no records: people change their passwords and employers their staff.
        grant("people_account", ["SELECT", "INSERT", "UPDATE"]),
        grant("people_account_groups", ["SELECT", "INSERT", "DELETE"]),
        grant("people_account_user_permissions", ["SELECT", "INSERT", "DELETE"]),
    ]
