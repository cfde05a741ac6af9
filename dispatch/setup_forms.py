"""What the page of an empty installation asks for; the services say what cannot be."""

from typing import Any

from django import forms

from dispatch.services.opening import NewOffice, read_crew, spot_of
from dispatch.typed_fields import Typed, count_box
from jobs.models.branches import Units
from jobs.refusals import Invalid
from jobs.services.branches import NewBranch


class SetupForm(forms.Form):
    """The first office of an installation."""

    use_required_attribute = False

    code = Typed(
        label="Set-up code",
        needed=True,
        help_text="The installation printed it; deploy/scripts/manage setup_code does again.",
    )
    company = Typed(label="Company", needed=True, max_length=120)
    name = Typed(label="Branch", needed=True, max_length=80, help_text="Such as its town.")
    telephone = Typed(label="Telephone", max_length=40, widget=forms.TextInput({"type": "tel"}))
    email = Typed(label="Email", max_length=254, widget=forms.TextInput({"type": "email"}))
    depot = Typed(label="Depot", needed=True, max_length=200, help_text="Street and town.")
    postal_code = Typed(label="US postal code of the depot")
    latitude = Typed(label="Latitude")
    longitude = Typed(label="Longitude")
    zone = Typed(label="Time zone", help_text="Such as Europe/Oslo.")
    country = Typed(label="Country", initial="US", help_text="Two letters, for public holidays.")
    units = Typed(label="Units", empty=Units.US, widget=forms.Select(choices=Units.choices))
    crews = Typed(
        label="Crews and their people",
        widget=forms.Textarea({"rows": 3}),
        help_text="One crew a line: North: Ana Ruiz, Ben Cole",
    )
    grinders = count_box(label="Large grinders", initial="1")
    owner = Typed(
        label="Your sign-in",
        needed=True,
        max_length=150,
        widget=forms.TextInput({"autocomplete": "username"}),
    )
    password = forms.CharField(
        label="Passphrase",
        error_messages={"required": "Please fill this in."},
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="Passphrase again",
        error_messages={"required": "Please fill this in."},
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        """Say what is missing, all at once."""
        typed = self.cleaned_data
        for name, field in self.fields.items():
            missing = field.required and not typed.get(name)
            if missing and name not in self.errors:
                self.add_error(name, "Please fill this in.")
        if typed.get("again") and typed.get("password") != typed["again"]:
            self.add_error("again", "The two passphrases differ.")
        return typed

    def office(self) -> NewOffice:
        """The office as typed. Raises Invalid."""
        typed = self.cleaned_data
        if typed["units"] not in Units:
            raise Invalid({"units": "Please choose the units."})
        where = ("postal_code", "latitude", "longitude", "zone")
        return NewOffice(
            branch=NewBranch(
                company=typed["company"],
                name=typed["name"],
                depot=typed["depot"],
                country=typed["country"].upper() or "US",
                telephone=typed["telephone"],
                email=typed["email"],
                units=typed["units"],
            ),
            spot=spot_of(**{name: typed[name] for name in where}),
            owner=typed["owner"],
            password=typed["password"],
            crews=tuple(read_crew(line) for line in typed["crews"].splitlines() if line.strip()),
            grinders=typed["grinders"],
        )
