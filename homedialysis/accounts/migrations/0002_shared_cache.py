"""The table of the database cache: request limits count across all web processes in it."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("accounts", "0001_initial")]

    operations = [
        migrations.RunSQL(
            """
            CREATE TABLE shared_cache (
                cache_key varchar(255) PRIMARY KEY, value text NOT NULL, expires timestamptz NOT NULL
            );
            CREATE INDEX shared_cache_expires ON shared_cache (expires);
            """,
            "DROP TABLE shared_cache;",
        )
    ]
