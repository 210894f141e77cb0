from django.apps import AppConfig
from django.core import checks
from django.db.models.signals import post_migrate


class PeopleConfig(AppConfig):
    name = "wearlog.people"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from wearlog.calc.units import set_number_format
        from wearlog.people.checks import guards_stand
        from wearlog.people.guards import install_after_migrate
        from wearlog.people.number_format import FormatOfTheLanguage

        set_number_format(FormatOfTheLanguage())

        checks.register(guards_stand, checks.Tags.database)
        # The only signal in use: Django offers no other hook after a migration.
        post_migrate.connect(install_after_migrate, dispatch_uid="wearlog.guards")
