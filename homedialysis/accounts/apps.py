from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "homedialysis.accounts"
    label = "accounts"
    verbose_name = "People"
