import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import registry.models.base


class Migration(migrations.Migration):

    dependencies = [
        ("registry", "0012_invitations"),
    ]

    operations = [
        migrations.CreateModel(
            name="FleetReport",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("uuid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("origin", models.CharField(default=registry.models.base.own_origin, editable=False, max_length=100)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("units", models.PositiveIntegerField()),
                ("confirmed_at", models.DateTimeField(blank=True, null=True)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "confirmed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "said_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to="registry.contributor",
                    ),
                ),
                (
                    "workshop",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="fleet_reports",
                        to="registry.workshop",
                    ),
                ),
            ],
            options={"ordering": ["-pk"]},
        ),
        migrations.AddConstraint(
            model_name="fleetreport",
            constraint=models.UniqueConstraint(
                condition=models.Q(("ended_at__isnull", True)),
                fields=("workshop",),
                name="fleet_report_one_a_workshop",
            ),
        ),
        migrations.AddConstraint(
            model_name="fleetreport",
            constraint=models.CheckConstraint(condition=models.Q(("units__gte", 1)), name="fleet_report_of_units"),
        ),
    ]
