from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("crews", "0003_one_place_of_a_role")]
    operations = [run_sql_file(__file__, "confirmed_as_assigned.sql")]
