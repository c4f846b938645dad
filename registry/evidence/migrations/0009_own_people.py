from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("evidence", "0008_bars"), ("people", "0006_closed_account_guarded")]
    operations = [run_sql_file(__file__, "own_people.sql")]
