"""Addresses of work plans and clocks; part of shop/routes.py."""

from django.urls import path, register_converter

from shop.views import plans


class ActConverter:
    """What can be done with a task: a word that is none of them is no address."""

    regex = "|".join(sorted(plans.ACTS, key=len, reverse=True))

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(ActConverter, "task_act")

addresses = [
    path("floor/ready/", plans.floor_ready, name="floor-ready"),
    path("floor/next/", plans.next_up, name="next-up"),
    path("jobs/<int:pk>/plan/", plans.plan, name="job-plan"),
    path("jobs/<int:pk>/plan/ready/", plans.ready, name="job-ready"),
    path("jobs/<int:pk>/plan/tasks/", plans.task_add, name="task-add"),
    path("jobs/<int:pk>/plan/template/", plans.template_apply, name="plan-template"),
    path("tasks/<int:pk>/", plans.task, name="task"),
    path("tasks/<int:pk>/<task_act:act>/", plans.task_act, name="task-act"),
    path("clocks/<int:pk>/", plans.clock, name="clock"),
]
