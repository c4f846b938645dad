from django.urls import path

from registry.web.papers import views

urlpatterns = [
    path("workers/<int:worker_id>/transcript/", views.transcript, name="transcript"),
    path("my-data/", views.own_data, name="own_data"),
    path("jobs/<int:job_id>/crew-sheet.pdf", views.crew_sheet, name="crew_sheet"),
    path("decisions/<int:decision_id>/refusal-notice.pdf", views.refusal_notice, name="refusal_notice"),
    path("check/", views.check, name="check"),
    path("check/<str:code>", views.check, name="check_code"),
]
