from django.urls import include, path

urlpatterns = [
    path("api/", include("api.urls")),
    path("", include("registry.web.urls")),
]

handler429 = "registry.web.account.too_many_requests"
handler500 = "registry.web.failing.something_failed"
