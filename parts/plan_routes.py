from django.urls import path

from parts import plan_views as views

urlpatterns = [
    path("shelf/plan/", views.plan, name="plan"),
    path("shelf/plan/anew/", views.plan_anew, name="plan-anew"),
    path("shelf/plan/policy/", views.policy, name="plan-policy"),
    path("shelf/plan/lines/<int:pk>/", views.decide, name="plan-decide"),
    path("shelf/plan/lines/<int:pk>/reopen/", views.reopen, name="plan-reopen"),
    path("shelf/plan/<int:pk>/accept/", views.accept, name="plan-accept"),
]
