"""The address book."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from homedialysis.web import health
from homedialysis.web.home import home

handler404 = "homedialysis.web.failing.not_found"
handler500 = "homedialysis.web.failing.failed"

urlpatterns = [
    path("", home, name="home"),
    path("accounts/", include("allauth.account.urls")),
    path("", include("homedialysis.accounts.urls")),
    path("", include("sessions.urls")),
    path("", include("dosing.urls")),
    path("", include("alerts.urls")),
    path("api/v1/", include("sessions.api.urls")),
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/docs/", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="api-docs"),
    path("healthz", health.alive, name="alive"),
    path("readyz", health.ready, name="ready"),
]
