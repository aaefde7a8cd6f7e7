import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("inventory", "0011_ranges_and_levels")]

    operations = [
        migrations.AddField(
            model_name="transfer",
            name="taken_back",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="transfer_taken_back",
                to="inventory.action",
            ),
        ),
        migrations.AddConstraint(
            model_name="transfer",
            constraint=models.CheckConstraint(
                condition=Q(received__isnull=True) | Q(taken_back__isnull=True), name="transfer_received_or_taken_back"
            ),
        ),
    ]
