from django.db import migrations

from registry.database.grants import grant_execute
from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("crews", "0004_confirmed_as_assigned")]
    operations = [run_sql_file(__file__, "plans_change.sql"), grant_execute("crews_hold_plan(bigint)")]
