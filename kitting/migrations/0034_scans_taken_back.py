import django.db.models.deletion
from django.db import migrations, models

from inventory.migrations._append_only import laying, lifting, on_tables

DEEDS = (
    "picked", "put back", "issued", "handed back", "installed", "turned in", "scrapped", "lost", "borrowed",
    "not installed", "not turned in", "not scrapped", "not lost",
)  # fmt: skip
TABLE = "kitting_bagentry"


class Migration(migrations.Migration):
    dependencies = [("kitting", "0033_job_steps")]

    operations = [
        migrations.RunPython(on_tables(lifting, TABLE), on_tables(laying, TABLE)),
        migrations.RemoveConstraint(model_name="bagentry", name="bag_entry_of_a_known_kind"),
        migrations.AlterField(
            model_name="bagentry",
            name="deed",
            field=models.CharField(choices=[(deed, deed) for deed in DEEDS], max_length=20),
        ),
        migrations.AddConstraint(
            model_name="bagentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("deed__in", DEEDS)), name="bag_entry_of_a_known_kind"
            ),
        ),
        migrations.AddField(
            model_name="bagentry",
            name="undoes",
            field=models.OneToOneField(
                blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name="undone_by",
                to="kitting.bagentry",
            ),
        ),
        migrations.RunPython(on_tables(laying, TABLE), on_tables(lifting, TABLE)),
    ]  # fmt: skip
