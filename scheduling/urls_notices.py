"""Addresses of notices, of what receivers choose, and of hooks."""

from django.urls import path

from scheduling.views import hooks, notice_words, notices, wishes

urlpatterns = [
    path("notices/", notices.notices, name="notices"),
    path("notices/mine/", wishes.mine, name="my-notices"),
    path("notices/mails/<uuid:pk>/", notices.mail, name="notice-mail"),
    path("notices/mails/<uuid:pk>/html/", notices.mail_html, name="notice-mail-html"),
    path("notices/mails/<uuid:pk>/again/", notices.mail_try_again, name="notice-mail-again"),
    path("notices/receivers/", notices.receivers, name="receivers"),
    path("notices/receivers/<uuid:pk>/", wishes.receiver, name="receiver"),
    path("notices/receivers/<uuid:pk>/again/", notices.receiver_try_again, name="receiver-again"),
    path("notices/words/", notice_words.notice_words, name="notice-words"),
    path("notices/words/one/", notice_words.notice_text, name="notice-text"),
    path("notices/words/one/html/", notice_words.notice_text_html, name="notice-text-html"),
    path("notices/for/<str:secret>/", wishes.wishes, name="notices-wishes"),
    path("notices/for/<str:secret>/stop/", wishes.stop, name="notices-stop"),
    path("firm/hooks/", hooks.hooks, name="hooks"),
    path("firm/hooks/<uuid:pk>/", hooks.hook, name="hook"),
    path("firm/hooks/<uuid:pk>/secret/", hooks.hook_secret, name="hook-secret"),
    path("firm/hooks/<uuid:pk>/try/", hooks.hook_try, name="hook-try"),
    path("firm/hooks/<uuid:pk>/end/", hooks.hook_stop, name="hook-end"),
]
