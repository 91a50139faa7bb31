from django.urls import path

from jobs.views import first_call, job_change, likelihoods, photos, pool, scope, survey, water_loss, weather

urlpatterns = [
    path("jobs/new/", first_call.job_new, name="job-new"),
    path("jobs/<uuid:pk>/change/", job_change.job_change, name="job-change"),
    path("jobs/<uuid:pk>/survey/", survey.survey, name="survey"),
    path("jobs/<uuid:pk>/survey/dry/", survey.survey_dry, name="survey-dry"),
    path("jobs/<uuid:pk>/water-loss/", water_loss.water_loss, name="water-loss"),
    path("jobs/<uuid:pk>/scope/", scope.scope_agree, name="scope-agree"),
    path("jobs/<uuid:pk>/pool/", pool.pool, name="pool"),
    path("jobs/<uuid:pk>/photos/", photos.photos, name="photos"),
    path("firm/weather/", weather.weather, name="weather"),
    path("firm/weather/source/", weather.weather_source, name="weather-source"),
    path("firm/weather/file/", weather.weather_file, name="weather-file"),
    path("firm/weather/<uuid:pk>/remove/", weather.weather_file_remove_view, name="weather-file-remove"),
    path("firm/likelihoods/", likelihoods.likelihoods, name="likelihoods"),
    path("photos/<uuid:pk>/", photos.photo, name="photo"),
    path("photos/<uuid:pk>/small/", photos.photo_small, name="photo-small"),
    path("photos/<uuid:pk>/remove/", photos.photo_remove, name="photo-remove"),
]
