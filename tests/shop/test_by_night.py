"""What the clock asks for at night."""

from django.conf import settings

from shop.celery import app


def test_every_task_of_the_night_is_one_that_a_worker_knows() -> None:
    app.loader.import_default_modules()
    asked = {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()}
    assert asked
    assert asked <= set(app.tasks)


def test_the_shelf_is_planned_after_the_learning_that_it_asks() -> None:
    schedule = {entry["task"]: entry["schedule"] for entry in settings.CELERY_BEAT_SCHEDULE.values()}
    learned, planned = schedule["diagnostics.learn_nightly"], schedule["parts.plan_nightly"]
    assert max(learned.hour) * 60 + max(learned.minute) < min(planned.hour) * 60 + min(planned.minute)
