from __future__ import annotations

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from registry.database.grants import grant, grant_execute

APPEND_ONLY = """
CREATE FUNCTION standards_refuse_change() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: % is refused', TG_TABLE_NAME, TG_OP
        USING ERRCODE = 'restrict_violation', CONSTRAINT = TG_NAME, TABLE = TG_TABLE_NAME;
END $$;

CREATE TRIGGER standard_versions_are_never_changed
    BEFORE UPDATE OR DELETE ON standards_standardversion
    FOR EACH ROW EXECUTE FUNCTION standards_refuse_change();
CREATE TRIGGER standard_versions_are_never_emptied
    BEFORE TRUNCATE ON standards_standardversion
    FOR EACH STATEMENT EXECUTE FUNCTION standards_refuse_change();
CREATE TRIGGER employer_figures_are_never_changed
    BEFORE UPDATE OR DELETE ON standards_employerfigure
    FOR EACH ROW EXECUTE FUNCTION standards_refuse_change();
CREATE TRIGGER employer_figures_are_never_emptied
    BEFORE TRUNCATE ON standards_employerfigure
    FOR EACH STATEMENT EXECUTE FUNCTION standards_refuse_change();
"""

NOT_APPEND_ONLY = """
DROP TRIGGER standard_versions_are_never_changed ON standards_standardversion;
DROP TRIGGER standard_versions_are_never_emptied ON standards_standardversion;
DROP TRIGGER employer_figures_are_never_changed ON standards_employerfigure;
DROP TRIGGER employer_figures_are_never_emptied ON standards_employerfigure;
DROP FUNCTION standards_refuse_change();
"""

# A decision rests on the standard and the employer's figures as much as on a
# worker's records, so each change of these moves an evidence version too. The
# functions run as their owner: the application's role may not bump by itself.
BUMP = """
CREATE FUNCTION standards_bump_standard() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM evidence_bump(ARRAY['standard:' || NEW.key]);
    RETURN NULL;
END $$;
REVOKE ALL ON FUNCTION standards_bump_standard() FROM PUBLIC;

CREATE FUNCTION standards_bump_employer() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM evidence_bump(ARRAY['employer:' || NEW.employer_id]);
    RETURN NULL;
END $$;
REVOKE ALL ON FUNCTION standards_bump_employer() FROM PUBLIC;

CREATE TRIGGER standard_versions_bump_evidence
    AFTER INSERT ON standards_standardversion
    FOR EACH ROW EXECUTE FUNCTION standards_bump_standard();
CREATE TRIGGER employer_figures_bump_evidence
    AFTER INSERT ON standards_employerfigure
    FOR EACH ROW EXECUTE FUNCTION standards_bump_employer();
"""

NO_BUMP = """
DROP TRIGGER standard_versions_bump_evidence ON standards_standardversion;
DROP TRIGGER employer_figures_bump_evidence ON standards_employerfigure;
DROP FUNCTION standards_bump_standard();
DROP FUNCTION standards_bump_employer();
"""

# The twin of queries.standard_in_force, for triggers.
IN_FORCE = """
CREATE FUNCTION standard_in_force(key text, day date) RETURNS bigint
LANGUAGE sql STABLE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT newest.id
    FROM (
        SELECT version.id, version.in_force_until
        FROM standards_standardversion AS version
        WHERE version.key = $1 AND version.in_force_from <= $2
        ORDER BY version.in_force_from DESC
        LIMIT 1
    ) AS newest
    WHERE newest.in_force_until IS NULL OR newest.in_force_until >= $2
$$;
"""


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("people", "0001_initial"),
        ("evidence", "0003_guards"),
    ]

    operations = [
        migrations.CreateModel(
            name="StandardVersion",
            fields=[
                (
                    "id",
                    models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID"),
                ),
                ("key", models.TextField()),
                ("version", models.PositiveIntegerField()),
                ("jurisdiction", models.TextField()),
                ("title", models.TextField()),
                ("in_force_from", models.DateField()),
                ("in_force_until", models.DateField(blank=True, null=True)),
                ("content", models.JSONField()),
                ("sha256", models.CharField(max_length=64)),
                ("recorded_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["key", "version"],
                "constraints": [
                    models.UniqueConstraint(fields=("key", "version"), name="a_standard_has_each_version_once"),
                    models.UniqueConstraint(
                        fields=("key", "in_force_from"),
                        name="two_versions_of_a_standard_do_not_start_on_one_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("in_force_until__isnull", True),
                            ("in_force_until__gte", models.F("in_force_from")),
                            _connector="OR",
                        ),
                        name="a_standard_does_not_end_before_it_starts",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="EmployerFigure",
            fields=[
                (
                    "id",
                    models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID"),
                ),
                ("standard_key", models.TextField()),
                ("setting", models.TextField()),
                ("minutes", models.PositiveIntegerField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="standard_figures",
                        to="people.employer",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["employer", "standard_key", "setting", "recorded_at", "id"],
                "indexes": [
                    models.Index(
                        fields=["employer", "standard_key", "recorded_at"],
                        name="figures_of_an_employer",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("minutes__gte", 1)),
                        name="an_employers_figure_asks_for_something",
                    )
                ],
            },
        ),
        migrations.RunSQL(APPEND_ONLY, NOT_APPEND_ONLY),
        migrations.RunSQL(BUMP, NO_BUMP),
        migrations.RunSQL(IN_FORCE, "DROP FUNCTION standard_in_force(text, date);"),
        grant_execute("standard_in_force(text, date)"),
        grant("standards_standardversion", ["SELECT"]),
        grant("standards_employerfigure", ["SELECT", "INSERT"]),
    ]
