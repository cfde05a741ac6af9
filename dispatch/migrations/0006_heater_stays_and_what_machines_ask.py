import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("dispatch", "0005_stints_keep_hours_of_people"),
        ("jobs", "0009_readings_stock_access_and_bays"),
    ]

    operations = [
        migrations.AddField(
            model_name="machine",
            name="amps",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="machine",
            name="m2_per_h",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="machine",
            name="power_kw",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="machine",
            name="volts",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="machine",
            name="width_m",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name="HeaterStay",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField()),
                ("power_kw", models.FloatField()),
                ("vented", models.BooleanField(default=True)),
                ("most_c", models.FloatField(default=30.0)),
                ("placed_by", models.CharField(max_length=120)),
                ("placed_at", models.DateTimeField()),
                ("called_off_at", models.DateTimeField(blank=True, null=True)),
                (
                    "absence",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="stay",
                        to="dispatch.absence",
                    ),
                ),
                (
                    "machine",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stays",
                        to="dispatch.machine",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="heater_stays",
                        to="jobs.site",
                    ),
                ),
            ],
            options={
                "ordering": ["start", "pk"],
                "indexes": [
                    models.Index(fields=["site", "start"], name="dispatch_he_site_id_9133d2_idx")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("end__gt", models.F("start"))),
                        name="a_heater_leaves_after_it_came",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("power_kw__gt", 0)), name="a_heater_gives_heat"
                    ),
                ],
            },
        ),
    ]
