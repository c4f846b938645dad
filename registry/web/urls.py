from django.urls import include, path

from registry.web import views

urlpatterns = [
    path("", views.home, name="home"),
    path("", include("registry.web.account_urls")),
    path("", include("registry.web.records.urls")),
    path("", include("registry.web.registrar.urls")),
    path("", include("registry.web.equipment.urls")),
    path("", include("registry.web.inspection.urls")),
    path("", include("registry.web.papers.urls")),
    path("", include("registry.web.log.urls")),
    path("", include("registry.web.notices.urls")),
    path("", include("registry.web.own.urls")),
    path("jobs/", views.jobs, name="jobs"),
    path("jobs/plan/", views.plan_job, name="plan_job"),
    path("jobs/<int:job_id>/", views.job, name="job"),
    path("jobs/<int:job_id>/change/", views.change_plan, name="change_plan"),
    path("jobs/<int:job_id>/call-off/", views.call_off, name="call_off"),
    path("slots/<int:slot_id>/fill/", views.fill_slot, name="fill_slot"),
    path("assignments/<int:assignment_id>/end/", views.end_assignment, name="end_assignment"),
    path("assignments/<int:assignment_id>/substitute/", views.substitute, name="substitute"),
    path("assignments/<int:assignment_id>/decide-again/", views.decide_again, name="decide_again"),
    path("jobs/decide-again/", views.decide_held_again, name="decide_held_again"),
    path("jobs/<int:job_id>/decide-again/", views.decide_held_again, name="decide_crew_again"),
    path("decisions/<int:decision_id>/", views.decision, name="decision"),
    path("workers/", views.workers, name="workers"),
    path("outlook/", views.outlook, name="outlook"),
    path("founding/", views.founding, name="founding"),
    path("workers/<int:worker_id>/", views.worker, name="worker"),
]
