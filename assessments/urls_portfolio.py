from django.urls import path

from assessments.views.document_check import DocumentCheck
from assessments.views.portfolio import PortfolioDetail, PortfolioDownload, PortfolioIssue, PortfolioOwn

urlpatterns = [
    path("evidence/", PortfolioOwn.as_view(), name="portfolio-own"),
    path("evidence/<uuid:pk>/", PortfolioDetail.as_view(), name="portfolio-detail"),
    path("evidence/<uuid:pk>/documents/new/", PortfolioIssue.as_view(), name="portfolio-issue"),
    path("evidence/documents/<uuid:pk>/", PortfolioDownload.as_view(), name="portfolio-download"),
    path("documents/<uuid:pk>/", DocumentCheck.as_view(), name="document-check"),
]
