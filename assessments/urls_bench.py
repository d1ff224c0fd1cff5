"""Addresses of working at the bench without a network."""

from django.urls import path

from assessments.views.offline import AttemptPack, BenchOffline, BenchSync, ServiceWorker
from assessments.views.tickets import TicketEnd, TicketIssue

urlpatterns = [
    path("sw.js", ServiceWorker.as_view(), name="service-worker"),
    path("bench/offline/", BenchOffline.as_view(), name="bench-offline"),
    path("bench/sync/", BenchSync.as_view(), name="bench-sync"),
    path("bench/rigs/<uuid:rig>/tasks/<uuid:version>/ticket/", TicketIssue.as_view(), name="ticket-issue"),
    path("tickets/<uuid:pk>/end/", TicketEnd.as_view(), name="ticket-end"),
    path("attempts/<uuid:pk>/pack/", AttemptPack.as_view(), name="attempt-pack"),
]
