from django.db import migrations

from registry.ledger.logging_of_tables import log_table

TABLES = [
    "people_employer",
    "people_worker",
    "people_employment",
    "people_languageskill",
    "equipment_maker",
    "equipment_cranemodel",
    "equipment_familydeclaration",
    "equipment_site",
    "equipment_crane",
    "equipment_craneplacement",
    "evidence_document",
    "evidence_hoursentry",
    "evidence_countersignature",
    "evidence_assessment",
    "evidence_certification",
    "evidence_certificationstatus",
    "evidence_standdown",
    "evidence_instruction",
    "evidence_appointment",
    "standards_standardversion",
    "standards_employerfigure",
    "crews_job",
    "crews_slot",
    "crews_decision",
    "crews_refusal",
    "crews_assignment",
    "crews_assignmentevent",
    "ledger_signingkey",
    "ledger_erasure",
]


class Migration(migrations.Migration):
    # In the database the log stands on every logged table; in Python it knows them by name only.
    dependencies = [
        ("ledger", "0002_log"),
        ("crews", "0002_guard"),
        ("evidence", "0003_guards"),
        ("standards", "0001_initial"),
        ("equipment", "0002_initial"),
        ("people", "0001_initial"),
    ]
    operations = [log_table(each) for each in TABLES]
