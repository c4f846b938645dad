from django.db import migrations, models
from django.db.models.functions import Length

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("evidence", "0004_requests")]
    operations = [
        migrations.RemoveConstraint(model_name="document", name="document_size_is_that_of_its_content"),
        migrations.AddConstraint(
            model_name="document",
            constraint=models.CheckConstraint(
                condition=models.Q(("size", Length("content")), ("content", b""), _connector="OR"),
                name="document_size_is_that_of_its_content",
            ),
        ),
        run_sql_file(__file__, "erased_documents.sql"),
    ]
