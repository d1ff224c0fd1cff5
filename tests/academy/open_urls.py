"""A URLconf with a view that forgot its permission."""

from django.urls import path
from django.views import View

urlpatterns = [path("forgotten/", View.as_view(), name="forgotten")]
