from django.urls import path

from assessments.views.phrase_book import PhraseChange, PhraseList, PhraseRemove
from assessments.views.review import ReviewDetail
from assessments.views.review_list import ReviewList

urlpatterns = [
    path("review/", ReviewList.as_view(), name="review-list"),
    path("review/phrases/", PhraseList.as_view(), name="phrase-list"),
    path("review/phrases/<uuid:pk>/", PhraseChange.as_view(), name="phrase-change"),
    path("review/phrases/<uuid:pk>/remove/", PhraseRemove.as_view(), name="phrase-remove"),
    path("review/<uuid:pk>/", ReviewDetail.as_view(), name="review-detail"),
]
