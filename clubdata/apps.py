"""Django's handle on this package."""

from django.apps import AppConfig


class ClubdataConfig(AppConfig):
    name = "clubdata"
    verbose_name = "Clubdata"
