from django.db import migrations

from registry.database.guards import living_guards
from registry.database.roles import grant_statement

# What the application may do with the tables of django-allauth and of Django's accounts. Addresses are kept for
# setting a forgotten password; a changed one takes what was known of the old one with it.
FRAMEWORK = {
    "people_account_groups": ["SELECT", "INSERT", "DELETE"],
    "people_account_user_permissions": ["SELECT", "INSERT", "DELETE"],
    "mfa_authenticator": ["SELECT", "INSERT", "UPDATE", "DELETE"],
    "usersessions_usersession": ["SELECT", "INSERT", "UPDATE", "DELETE"],
    "account_emailaddress": ["SELECT", "INSERT", "DELETE"],
}


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0001_initial"),
        ("ledger", "0002_guards"),
        ("account", "0009_emailaddress_unique_primary_email"),
        ("mfa", "0003_authenticator_type_uniq"),
        ("usersessions", "0001_initial"),
    ]
    operations = [
        *living_guards(
            __file__,
            "readers.sql",
            "erased.sql",
            "worker_numbers.sql",
            "accounts.sql",
            "invitations.sql",
            "closing.sql",
            "consent.sql",
            "named.sql",
        ),
        *(migrations.RunSQL(grant_statement(table, privileges)) for table, privileges in FRAMEWORK.items()),
    ]
