from django.db import migrations

from inventory.migrations._append_only import laying, lifting, on_tables

TABLES = ("kitting_event", "kitting_rulerevision")


class Migration(migrations.Migration):
    dependencies = [("kitting", "0001_initial"), ("inventory", "0003_append_only")]

    operations = [migrations.RunPython(on_tables(laying, *TABLES), on_tables(lifting, *TABLES))]
