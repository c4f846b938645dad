from django.urls import path

from registry.web.notices import views

urlpatterns = [
    path("jobs/<int:job_id>/notice/", views.notice, name="notice"),
    path("jobs/<int:job_id>/notice/notice.pdf", views.notice_pdf, name="notice_pdf"),
    path("jobs/<int:job_id>/notice/notice.json", views.notice_json, name="notice_json"),
    path("jobs/<int:job_id>/notice/particulars/", views.particulars, name="notice_particulars"),
    path("jobs/<int:job_id>/notice/parties/add/", views.party, name="add_party"),
    path("jobs/<int:job_id>/notice/parties/<int:party_id>/", views.party, name="change_party"),
    path("jobs/<int:job_id>/notice/parties/<int:party_id>/remove/", views.remove_party, name="remove_party"),
    path("jobs/<int:job_id>/notice/procedures/add/", views.procedure, name="add_procedure"),
    path("jobs/<int:job_id>/notice/procedures/<int:procedure_id>/", views.procedure, name="change_procedure"),
    path("jobs/<int:job_id>/notice/procedures/<int:procedure_id>/file", views.procedure_file, name="procedure_file"),
    path(
        "jobs/<int:job_id>/notice/procedures/<int:procedure_id>/remove/",
        views.remove_procedure,
        name="remove_procedure",
    ),
    path("jobs/<int:job_id>/notice/sent/add/", views.sent, name="record_notice_sent"),
    path("jobs/<int:job_id>/notice/sent/<int:number>.pdf", views.sent_pdf, name="sent_notice_pdf"),
    path("jobs/<int:job_id>/notice/sent/<int:number>.json", views.sent_json, name="sent_notice_json"),
    path("jobs/<int:job_id>/notice/sent/<int:number>/not-sent/", views.not_sent, name="notice_not_sent"),
]
