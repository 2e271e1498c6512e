import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("registry", "0009_shape_of_charts")]

    operations = [
        migrations.CreateModel(
            name="MirrorSource",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("url", models.URLField(max_length=500, unique=True)),
                ("origin", models.CharField(blank=True, default="", max_length=100)),
                (
                    "mode",
                    models.CharField(choices=[("mirror", "Mirror"), ("exchange", "Exchange")], max_length=8),
                ),
                ("since", models.PositiveBigIntegerField(null=True)),
                ("pulled_at", models.DateTimeField(null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("mode__in", ["mirror", "exchange"])), name="mirror_mode_known"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="MirrorItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("design_uuid", models.UUIDField()),
                ("etag", models.CharField(blank=True, default="", max_length=80)),
                ("error", models.CharField(blank=True, default="", max_length=300)),
                ("failed_at", models.DateTimeField(null=True)),
                (
                    "source",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="items",
                        to="registry.mirrorsource",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("source", "design_uuid"), name="mirror_item_once")
                ],
            },
        ),
    ]
