from django.db import migrations

from registry.database.grants import grant

# The table of Django's database cache; what is in it may be lost with the server, so it is not logged.
CACHE = """
CREATE UNLOGGED TABLE database_cache (
    cache_key varchar(255) PRIMARY KEY,
    value text NOT NULL,
    expires timestamptz NOT NULL
);
CREATE INDEX database_cache_expires ON database_cache (expires);
"""


class Migration(migrations.Migration):
    dependencies = [("database", "0001_initial")]
    operations = [
        migrations.RunSQL(sql=CACHE, reverse_sql="DROP TABLE database_cache"),
        grant("database_cache", ["SELECT", "INSERT", "UPDATE", "DELETE"]),
    ]
