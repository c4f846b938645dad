from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations, models

from registry.database.guards import living_guards
from registry.database.roles import APPLICATION

MAY_ENTER = f"""
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO {APPLICATION};
GRANT SELECT ON django_migrations TO {APPLICATION};
DO $$
BEGIN
    EXECUTE format('GRANT CONNECT ON DATABASE %I TO {APPLICATION}', current_database());
END
$$;
"""

# The table of Django's database cache; what is in it may be lost with the server, so it is not logged.
CACHE = f"""
CREATE UNLOGGED TABLE database_cache (
    cache_key varchar(255) PRIMARY KEY,
    value text NOT NULL,
    expires timestamptz NOT NULL
);
CREATE INDEX database_cache_expires ON database_cache (expires);
GRANT SELECT, INSERT, UPDATE, DELETE ON database_cache TO {APPLICATION};
"""


class Migration(migrations.Migration):
    initial = True
    operations = [
        BtreeGistExtension(),
        migrations.RunSQL(MAY_ENTER, migrations.RunSQL.noop),
        migrations.RunSQL(CACHE, "DROP TABLE database_cache"),
        migrations.CreateModel(
            name="Register",
            fields=[
                ("only", models.BooleanField(default=True, primary_key=True, serialize=False)),
                ("number", models.TextField()),
                ("demonstration", models.BooleanField()),
                ("begun_at", models.DateTimeField()),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("only", True)), name="a_database_holds_one_register"),
                    models.CheckConstraint(
                        condition=models.Q(("number", ""), _negated=True), name="a_register_has_a_number"
                    ),
                ],
            },
        ),
        *living_guards(
            __file__,
            "refuse.sql",
            "append_only.sql",
            "recorded_now.sql",
            "corrections.sql",
            "reader.sql",
            "spelling.sql",
            "plain_text.sql",
        ),
    ]
