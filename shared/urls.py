from django.urls import path

from shared.views import login, me, members, second_factor, security, sessions

urlpatterns = [
    path("login/", login.log_in, name="login"),
    path("logout/", login.log_out, name="logout"),
    path("firm/switch/", login.firm_switch, name="firm-switch"),
    path("join/<str:secret>/", login.invitation, name="invitation"),
    path("password/forgot/", login.password_forgot, name="password-forgot"),
    path("password/<uuid:person_id>/<str:token>/", login.password_reset, name="password-reset"),
    path("login/code/", second_factor.login_second, name="login-second"),
    path("me/", me.me, name="me"),
    path("me/second-factor/", second_factor.second_factor, name="second-factor"),
    path("me/log-ins/", sessions.sessions, name="sessions"),
    path("me/confirm/", sessions.confirm, name="confirm"),
    path("me/tokens/", security.tokens, name="tokens"),
    path("me/tokens/<uuid:pk>/revoke/", security.token_revoke, name="token-revoke"),
    path("firm/security/", security.security, name="security"),
    path("firm/trail/", security.trail, name="trail"),
    path("firm/members/", members.members, name="members"),
    path("firm/members/<uuid:pk>/", members.member, name="member"),
    path("firm/members/<uuid:pk>/log-ins/", sessions.member_sessions, name="member-sessions"),
    path("firm/invitations/<uuid:pk>/withdraw/", members.invitation_withdraw, name="invitation-withdraw"),
]
