from django.urls import path

from registry.web.log import views

urlpatterns = [
    path("log/", views.log, name="log"),
    path("log/checkpoints/make/", views.make_checkpoint, name="make_checkpoint"),
    path("log/checkpoints/<int:size>/checkpoint.txt", views.checkpoint_text, name="checkpoint_text"),
    path("log/consistency-proof.json", views.consistency_json, name="consistency_json"),
    path("log/verify_registry.py", views.verifier, name="verifier"),
    path("log/verification/", views.verification, name="log_verification"),
    # With ?as=json the same page is the proof itself, so that both leave the same trace.
    path("log/records/<slug:kind>/<int:record>/", views.log_record, name="log_record"),
]
