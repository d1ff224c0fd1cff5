"""Addresses of trails, of external verifiers' visits, and of what a visitor gets to."""

from django.urls import path

from assessments.views.packs import PackDownload, PackMake
from assessments.views.trails import TrailDetail, TrailFind
from assessments.views.visits import (
    VisitArrange,
    VisitAttempt,
    VisitCertificate,
    VisitDetail,
    VisitEnd,
    VisitExtend,
    VisitList,
    VisitPhoto,
    VisitPortfolio,
    VisitTrail,
)

urlpatterns = [
    path("trails/", TrailFind.as_view(), name="trail-find"),
    path("trails/<uuid:candidate>/<uuid:task>/", TrailDetail.as_view(), name="trail-detail"),
    path("visits/", VisitList.as_view(), name="visit-list"),
    path("visits/new/", VisitArrange.as_view(), name="visit-arrange"),
    path("visits/<uuid:visit>/", VisitDetail.as_view(), name="visit-detail"),
    path("visits/<uuid:visit>/sample/", VisitExtend.as_view(), name="visit-extend"),
    path("visits/<uuid:visit>/end/", VisitEnd.as_view(), name="visit-end"),
    path("visits/<uuid:visit>/trails/<int:sample>/", VisitTrail.as_view(), name="visit-trail"),
    path("visits/<uuid:visit>/attempts/<uuid:pk>/", VisitAttempt.as_view(), name="visit-attempt"),
    path("visits/<uuid:visit>/photos/<uuid:pk>/", VisitPhoto.as_view(), name="visit-photo"),
    path("visits/<uuid:visit>/certificates/<uuid:pk>/", VisitCertificate.as_view(), name="visit-certificate"),
    path("visits/<uuid:visit>/portfolios/<uuid:pk>/", VisitPortfolio.as_view(), name="visit-portfolio"),
    path("visits/<uuid:visit>/packs/new/", PackMake.as_view(), name="pack-make"),
    path("packs/<uuid:pk>/", PackDownload.as_view(), name="pack-download"),
]
