import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0008_gate_rules_starts_calls_and_returns"),
    ]

    operations = [
        migrations.AddField(
            model_name="floor",
            name="bays",
            field=models.PositiveSmallIntegerField(default=1),
        ),
        migrations.AddField(
            model_name="floor",
            name="porous",
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name="site",
            name="amps",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="site",
            name="volts",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="site",
            name="way_in_m",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name="SiteReading",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("at", models.DateTimeField()),
                ("spot", models.CharField(blank=True, max_length=80)),
                ("slab_c", models.FloatField(blank=True, null=True)),
                ("air_c", models.FloatField(blank=True, null=True)),
                ("humidity_pct", models.FloatField(blank=True, null=True)),
                ("moisture", models.FloatField(blank=True, null=True)),
                (
                    "moisture_method",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("percent", "Concrete meter, % by mass"),
                            ("in_slab", "Probe in the slab, % humidity"),
                            ("emission", "Dish test, lb per 1,000 sq ft in 24 h"),
                            ("sheet", "Plastic sheet taped down overnight"),
                        ],
                        max_length=8,
                    ),
                ),
                ("within_limit", models.BooleanField(blank=True, null=True)),
                ("taken_by", models.CharField(max_length=120)),
                ("entered_at", models.DateTimeField()),
                (
                    "floor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="readings",
                        to="jobs.floor",
                    ),
                ),
            ],
            options={
                "ordering": ["-at", "-pk"],
                "indexes": [
                    models.Index(fields=["floor", "at"], name="jobs_sitere_floor_i_7ccc8a_idx")
                ],
            },
        ),
        migrations.CreateModel(
            name="StockLot",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[("flake", "Flake"), ("base", "Base resin"), ("top", "Top resin")],
                        max_length=8,
                    ),
                ),
                ("blend", models.CharField(max_length=80)),
                ("lot", models.CharField(max_length=60)),
                ("amount", models.FloatField()),
                ("opened", models.BooleanField(default=False)),
                ("keeps_until", models.DateField(blank=True, null=True)),
                ("version", models.PositiveIntegerField(default=0)),
                ("changed_at", models.DateTimeField()),
                (
                    "branch",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stock",
                        to="jobs.branch",
                    ),
                ),
            ],
            options={
                "ordering": ["kind", "blend", "lot", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("amount__gte", 0)), name="stock_is_not_below_nothing"
                    )
                ],
            },
        ),
    ]
