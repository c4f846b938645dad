from django.db import migrations

from registry.database.guards import living_guards


class Migration(migrations.Migration):
    dependencies = [
        ("standards", "0001_initial"),
        ("evidence", "0002_guards"),
    ]
    operations = living_guards(__file__, "standards.sql")
