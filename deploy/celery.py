"""Celery, and its clock. Every task is also done by `manage.py work` where there is no broker.

One queue for each kind of work, so that a slow forecast service holds up no notice. Beat
only wakes: what is due stands in the database, so a lost or doubled tick does no harm.
"""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

MINUTE_S = 60
PLANS_S = 5  # somebody waits for it
QUEUES = ("forecast", "verdicts", "notices", "plans")

app = Celery("slabcast")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.update(
    enable_utc=True,
    task_queues={name: {} for name in QUEUES},  # a worker told of no queue takes them all
    task_default_queue="verdicts",
    accept_content=["json"],
    task_routes={
        "dispatch.tasks.refresh_*": {"queue": "forecast"},
        "dispatch.tasks.send_*": {"queue": "notices"},
        "dispatch.tasks.judge_*": {"queue": "verdicts"},
        "dispatch.tasks.plan_*": {"queue": "plans"},
    },
    # A tick that nobody took before the next one is not worth taking any more.
    beat_schedule={
        "forecasts that are due": {
            "task": "dispatch.tasks.refresh_forecasts",
            "schedule": MINUTE_S,
            "options": {"expires": MINUTE_S},
        },
        "weather that nobody needs": {
            "task": "dispatch.tasks.refresh_prune",
            "schedule": 60 * MINUTE_S,
            "options": {"expires": 60 * MINUTE_S},
        },
        "verdicts that are due": {
            "task": "dispatch.tasks.judge_due",
            "schedule": MINUTE_S,
            "options": {"expires": MINUTE_S},
        },
        "notices that are due": {
            "task": "dispatch.tasks.send_due",
            "schedule": MINUTE_S / 2,
            "options": {"expires": MINUTE_S / 2},
        },
        "plans that are due": {
            "task": "dispatch.tasks.plan_due",
            "schedule": PLANS_S,
            "options": {"expires": PLANS_S},
        },
    },
)
app.autodiscover_tasks()
