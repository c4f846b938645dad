from django.urls import path

from registry.web.records import views

urlpatterns = [
    path("records/", views.records_home, name="records"),
    path("records/hours/", views.hours_sheet, name="hours_sheet"),
    path("records/countersigning/", views.countersigning_queue, name="countersigning"),
    path("records/countersigning/<int:objection_id>/", views.answer_objection, name="answer_objection"),
    path("records/to-countersign/", views.to_countersign, name="to_countersign"),
    path("records/assessments/", views.assessments, name="assessments"),
    path("records/assessments/<int:worker_id>/", views.assess, name="assess"),
    path("records/people/new/", views.new_person, name="new_person"),
    path("records/people/<int:worker_id>/", views.person, name="person_records"),
    path("records/people/<int:worker_id>/add/<slug:what>/", views.add_record, name="add_record"),
    path("records/<slug:kind>/<int:record_id>/correct/", views.correct_record, name="correct_record"),
    path("records/<slug:kind>/<int:record_id>/withdraw/", views.withdraw_record, name="withdraw_record"),
    path("records/<slug:kind>/<int:record_id>/ask/", views.ask_for_correction, name="ask_for_correction"),
    path("records/requests/", views.correction_requests, name="correction_requests"),
    path("records/requests/<int:request_id>/", views.answer_request, name="answer_request"),
    path("records/import/", views.import_upload, name="import_upload"),
    path("records/import/<slug:kind>/<int:document_id>/", views.import_table, name="import_table"),
    path("documents/<int:document_id>/", views.document, name="document"),
]
