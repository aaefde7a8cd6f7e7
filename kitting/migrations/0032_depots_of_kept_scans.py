from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

CHECK_CHARACTERS = 2  # at the end of a bag's number on its label


def name_depots(apps: Apps, _: BaseDatabaseSchemaEditor) -> None:
    """Name the depot of scans that wait already, as far as their bag is known."""
    kept, bags = apps.get_model("kitting", "KeptScan"), apps.get_model("kitting", "Bag")
    for scan in kept.objects.filter(settled_by="").iterator():
        named = str(scan.content.get("bag") or scan.content.get("code", "")).upper()
        number = "".join(sign for sign in named if sign.isalnum())[:-CHECK_CHARACTERS]
        bag = bags.objects.filter(code=number).select_related("depot").first()
        if bag:
            scan.depot = bag.depot.depot
            scan.save(update_fields=["depot"])


class Migration(migrations.Migration):
    dependencies = [
        ("kitting", "0031_mailed_notices"),
    ]

    operations = [
        migrations.AddField(
            model_name="keptscan",
            name="depot",
            field=models.CharField(blank=True, default="", max_length=100),
            preserve_default=False,
        ),
        migrations.RunPython(name_depots, migrations.RunPython.noop),
    ]
