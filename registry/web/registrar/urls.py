from django.urls import path

from registry.web.registrar import views

urlpatterns = [
    path("bars/", views.bars, name="bars"),
    path("bars/requests/", views.requests_waiting, name="bar_requests"),
    path("bars/papers/", views.ended_on_paper, name="bar_papers"),
    path("bars/people/<int:worker_id>/", views.bars_of, name="bars_of"),
]
