from django.urls import path

from registry.web.own import views

urlpatterns = [
    path("own/", views.own, name="own"),
    path("workers/<int:worker_id>/role/", views.wanted_role, name="wanted_role"),
    path("own/employers/", views.employers, name="own_employers"),
    path("own/employments/<int:employment_id>/leave/", views.leave_employer, name="leave_employer"),
    path("own/employers/<int:request_id>/", views.answer_employer, name="answer_employer"),
    path("sharing/", views.sharing, name="sharing"),
    path("sharing/<int:link_id>/end/", views.end_shared_link, name="end_shared_link"),
    path("shared/<str:token>/", views.shared_record, name="shared_record"),
    path("shared/<str:token>/transcript/", views.shared_transcript, name="shared_transcript"),
]
