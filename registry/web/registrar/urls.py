from django.urls import path

from registry.web.registrar import views

urlpatterns = [
    path("bars/", views.bars, name="bars"),
    path("bars/requests/", views.requests_waiting, name="bar_requests"),
    path("bars/papers/", views.ended_on_paper, name="bar_papers"),
    path("bars/people/<int:worker_id>/", views.bars_of, name="bars_of"),
    path("register/possible-twins/<int:twin_id>/", views.settle_twin, name="settle_twin"),
    path("register/employment/", views.employment, name="registrar_employment"),
    path("register/stand-downs/", views.stand_downs, name="registrar_stand_downs"),
    path("register/stand-downs/<int:stand_down_id>/suspend/", views.suspend, name="suspend_stand_down"),
    path("register/suspensions/<int:suspension_id>/end/", views.end_suspension, name="end_suspension"),
]
