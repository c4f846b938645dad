from django.db import migrations

from registry.database.guards import living_guards


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0001_initial"),
        ("people", "0002_guards"),
    ]
    operations = living_guards(__file__, "equipment.sql", "time_zones.sql")
