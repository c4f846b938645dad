from django.urls import path

from registry.web.inspection import views

urlpatterns = [
    path("inspection/", views.inspection, name="inspection"),
    path("inspection/second-look/", views.second_look, name="second_look"),
    path("inspection/possible-twins/", views.twins, name="possible_twins"),
    path("workers/<int:worker_id>/second-look/", views.second_look_at, name="second_look_at"),
    path("cranes/<int:crane_id>/", views.crane, name="crane"),
    path("jobs/<int:job_id>/as-known/", views.job_as_known, name="job_as_known"),
    path("slots/<int:slot_id>/as-known/", views.slot_as_known, name="slot_as_known"),
    path("jobs/<int:job_id>/file/", views.open_file, name="open_file"),
    path("files/<int:file_id>/", views.file, name="file"),
    path("files/<int:file_id>/bundle/", views.bundle, name="bundle"),
    path("looks/", views.looks, name="looks"),
]
