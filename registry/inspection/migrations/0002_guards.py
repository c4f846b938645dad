from django.db import migrations

from registry.database.guards import living_guards


class Migration(migrations.Migration):
    dependencies = [
        ("inspection", "0001_initial"),
        ("notices", "0002_guards"),
        ("transcripts", "0002_guards"),
    ]
    operations = living_guards(__file__)
