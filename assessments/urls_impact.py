"""Addresses of impact reviews."""

from django.urls import path

from assessments.views.impact import (
    ImpactClose,
    ImpactDetail,
    ImpactItemDetail,
    ImpactLetter,
    ImpactList,
    ImpactOpenForCertificate,
    ImpactOpenForHold,
    ImpactOpenForInstrument,
    ImpactOpenForRig,
    ImpactPrint,
    ImpactWork,
)

urlpatterns = [
    path("impact/", ImpactList.as_view(), name="impact-list"),
    path(
        "impact/new/certificate/<uuid:calibration>/", ImpactOpenForCertificate.as_view(), name="impact-open"
    ),
    path("impact/new/hold/<uuid:hold>/", ImpactOpenForHold.as_view(), name="impact-open"),
    path("impact/new/instrument/<uuid:instrument>/", ImpactOpenForInstrument.as_view(), name="impact-open"),
    path("impact/new/rig/<uuid:rig>/", ImpactOpenForRig.as_view(), name="impact-open"),
    path("impact/<uuid:pk>/", ImpactDetail.as_view(), name="impact-detail"),
    path("impact/<uuid:pk>/work/", ImpactWork.as_view(), name="impact-work"),
    path("impact/<uuid:pk>/close/", ImpactClose.as_view(), name="impact-close"),
    path("impact/<uuid:pk>/review.pdf", ImpactPrint.as_view(), name="impact-print"),
    path("impact/attempts/<uuid:pk>/", ImpactItemDetail.as_view(), name="impact-item"),
    path("impact/attempts/<uuid:pk>/letter.pdf", ImpactLetter.as_view(), name="impact-letter"),
]
