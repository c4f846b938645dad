from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("database", "0003_row_level_security")]
    operations = [run_sql_file(__file__, "as_the_register.sql")]
