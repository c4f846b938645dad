from django.db import migrations

from registry.database.grants import grant
from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    """What the application may do with invitations and with the tables of django-allauth."""

    dependencies = [
        ("people", "0002_invitation"),
        ("account", "0009_emailaddress_unique_primary_email"),
        ("mfa", "0003_authenticator_type_uniq"),
        ("usersessions", "0001_initial"),
    ]
    operations = [
        run_sql_file(__file__, "invitations.sql"),
        grant("people_invitation", ["SELECT", "INSERT", "UPDATE"]),
        grant("mfa_authenticator", ["SELECT", "INSERT", "UPDATE", "DELETE"]),
        grant("usersessions_usersession", ["SELECT", "INSERT", "UPDATE", "DELETE"]),
        # Addresses are kept for setting a forgotten password; none is confirmed by mail.
        grant("account_emailaddress", ["SELECT", "INSERT"]),
    ]
