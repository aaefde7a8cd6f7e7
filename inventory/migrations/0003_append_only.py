from django.db import migrations

from inventory.migrations._append_only import laying, lifting, on_tables

TABLES = ("inventory_action", "inventory_movement")


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0002_stock"),
    ]

    operations = [
        migrations.RunPython(on_tables(laying, *TABLES), on_tables(lifting, *TABLES)),
    ]
