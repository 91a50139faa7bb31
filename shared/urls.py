from django.urls import path

from shared.views import login, me, members

urlpatterns = [
    path("login/", login.log_in, name="login"),
    path("logout/", login.log_out, name="logout"),
    path("firm/switch/", login.firm_switch, name="firm-switch"),
    path("join/<str:secret>/", login.invitation, name="invitation"),
    path("password/forgot/", login.password_forgot, name="password-forgot"),
    path("password/<uuid:person_id>/<str:token>/", login.password_reset, name="password-reset"),
    path("me/", me.me, name="me"),
    path("firm/members/", members.members, name="members"),
    path("firm/members/<uuid:pk>/", members.member, name="member"),
    path("firm/invitations/<uuid:pk>/withdraw/", members.invitation_withdraw, name="invitation-withdraw"),
]
