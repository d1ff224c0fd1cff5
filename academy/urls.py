from django.urls import include, path

from academy.views.cohorts import CohortCreate, MembershipCreate, MembershipEnd
from academy.views.home import Home
from academy.views.notices import DigestChoose, Today
from academy.views.people import (
    PersonCreate,
    PersonDetail,
    PersonErase,
    PersonList,
    PersonPassword,
    RoleEnd,
    RoleGrant,
)
from academy.views.signing_in import PasswordChange, SignIn, SignOut

urlpatterns = [
    path("", Home.as_view(), name="home"),
    path("today/", Today.as_view(), name="today"),
    path("today/digest/", DigestChoose.as_view(), name="digest-choose"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", SignOut.as_view(), name="sign-out"),
    path("password/", PasswordChange.as_view(), name="password-change"),
    path("people/", PersonList.as_view(), name="person-list"),
    path("people/new/", PersonCreate.as_view(), name="person-create"),
    path("people/<uuid:pk>/", PersonDetail.as_view(), name="person-detail"),
    path("people/<uuid:pk>/password/", PersonPassword.as_view(), name="person-password"),
    path("people/<uuid:pk>/erase/", PersonErase.as_view(), name="person-erase"),
    path("people/<uuid:pk>/roles/new/", RoleGrant.as_view(), name="role-grant"),
    path("people/<uuid:pk>/roles/<uuid:role>/end/", RoleEnd.as_view(), name="role-end"),
    path("people/<uuid:pk>/cohorts/new/", MembershipCreate.as_view(), name="membership-create"),
    path("people/<uuid:pk>/cohorts/<uuid:membership>/end/", MembershipEnd.as_view(), name="membership-end"),
    path("cohorts/new/", CohortCreate.as_view(), name="cohort-create"),
    path("", include("rigs.urls")),
    path("", include("assessments.urls")),
]
