from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations

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


class Migration(migrations.Migration):
    initial = True
    operations = [
        BtreeGistExtension(),
        migrations.RunSQL(sql=MAY_ENTER, reverse_sql=migrations.RunSQL.noop),
    ]
