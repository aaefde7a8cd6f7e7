import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0010_price_breaks"),
        ("kitting", "0026_bag_depots"),
    ]

    operations = [
        migrations.AddField(
            model_name="bag",
            name="transfer",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="bags",
                to="inventory.transfer",
            ),
        ),
    ]
