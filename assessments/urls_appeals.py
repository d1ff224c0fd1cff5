"""Addresses of what an assessor does besides deciding, and of appeals."""

from django.urls import path

from assessments.views.appeals import (
    AppealDetail,
    AppealFurther,
    AppealList,
    AppealOpen,
    AppealOwn,
    AppealOwnFurther,
    AppealOwnWithdraw,
)
from assessments.views.beside_deciding import (
    AttemptGiveBack,
    AttemptMakeVoid,
    Countersign,
    CountersignList,
    PromptGive,
)

urlpatterns = [
    path("review/countersign/", CountersignList.as_view(), name="countersign-list"),
    path("review/decisions/<uuid:pk>/countersign/", Countersign.as_view(), name="countersign"),
    path("review/decisions/<uuid:pk>/appeal/", AppealOpen.as_view(), name="appeal-open"),
    path("review/<uuid:pk>/return/", AttemptGiveBack.as_view(), name="attempt-return"),
    path("review/<uuid:pk>/void/", AttemptMakeVoid.as_view(), name="attempt-void"),
    path("review/<uuid:pk>/prompt/", PromptGive.as_view(), name="prompt-give"),
    path("appeals/", AppealList.as_view(), name="appeal-list"),
    path("appeals/<uuid:pk>/", AppealDetail.as_view(), name="appeal-detail"),
    path("appeals/<uuid:pk>/further/", AppealFurther.as_view(), name="appeal-further"),
    path("attempts/<uuid:pk>/appeal/", AppealOwn.as_view(), name="appeal-own"),
    path("attempts/<uuid:pk>/appeal/further/", AppealOwnFurther.as_view(), name="appeal-own-further"),
    path("attempts/<uuid:pk>/appeal/back/", AppealOwnWithdraw.as_view(), name="appeal-own-withdraw"),
]
