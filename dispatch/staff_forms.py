"""What the office types about crews, people, machines and absences.

Forms read values; the services say what cannot be. A field is named like the argument it fills.
"""

import uuid
from functools import partial
from typing import Any

from django import forms

from dispatch.models import Crew, Installer, Machine, MachineKind
from dispatch.typed_fields import Typed, count_box, measure_box, picker
from jobs.models import Branch
from jobs.models.branches import Units
from jobs.rules.typed import read_count, read_day, read_moment
from jobs.rules.units import m2_from_ft2, m_from_inches


class StaffForm(forms.Form):
    """A form of the crews page, with the choices of one branch."""

    use_required_attribute = False
    title = ""
    button = ""

    def __init__(self, *args: Any, branch: Branch, **kwargs: Any) -> None:
        kwargs["auto_id"] = f"{type(self).__name__}-%s"  # several of them stand on one page
        super().__init__(*args, **kwargs)
        self.us = branch.units == Units.US
        self.choose(branch)

    def clean(self) -> dict[str, Any]:
        """Say what is missing, before a service is asked."""
        for name, field in self.fields.items():
            if field.required and name not in self.errors and not self.cleaned_data.get(name):
                self.add_error(name, "Please fill this in.")
        return self.cleaned_data

    def new_key(self) -> None:
        """Let the form be sent as another request."""
        self.data = {name: self.data[name] for name in self.data}
        self.data["key"] = uuid.uuid4().hex

    def choose(self, branch: Branch) -> None:
        """Fill the lists that depend on the branch."""

    def list_of(self, name: str, choices: list[tuple[str, str]]) -> None:
        """A list to choose one key from."""
        self.fields[name].widget = forms.Select(choices=choices)
        self.fields[name].widget.is_required = False

    def day(self, name: str) -> None:
        """A box that reads a day in the branch's way."""
        self.fields[name].read = partial(read_day, us=self.us)  # type: ignore[attr-defined]


class CrewForm(StaffForm):
    """A crew without anybody in it yet."""

    title, button = "New crew", "Add the crew"
    name = Typed(label="Name", needed=True)


class PersonForm(StaffForm):
    """Somebody who coats floors."""

    title, button = "New person", "Add the person"
    key = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)
    name = Typed(label="Name", needed=True)
    telephone = Typed(label="Telephone", widget=forms.TextInput({"type": "tel"}))

    def choose(self, branch: Branch) -> None:
        """A page of its own for each person: pressed twice it adds one."""
        self.initial.setdefault("key", uuid.uuid4().hex)


class MachineForm(StaffForm):
    """Machines of one kind."""

    title, button = "New machine", "Add it"
    kind = Typed(label="What it is", needed=True, widget=forms.Select(choices=MachineKind.choices))
    name = Typed(label="Name", needed=True)
    count = count_box(
        label="How many",
        initial="1",
        help_text="Several get numbers, for each can be in one place only.",
    )


class NeedsForm(StaffForm):
    """What one machine does and asks of a site."""

    title, button = "What a machine does and needs", "Keep it"
    machine_id = Typed(label="Machine", needed=True, read=read_count)
    volts = Typed(label="Volts it needs", empty=None, read=read_count, help_text="Such as 240.")
    amps = Typed(label="Amps it needs", empty=None, read=read_count, help_text="Such as 30.")

    def choose(self, branch: Branch) -> None:
        """Machines, and boxes in the branch's units."""
        machines = Machine.objects.of_branch(branch).filter(active=True)
        self.list_of("machine_id", [(str(each.pk), str(each)) for each in machines])
        area, width = ("sq ft", "in") if self.us else ("m²", "m")
        self.fields["m2_per_h"] = measure_box(
            us=self.us,
            convert=m2_from_ft2,
            label=f"Grinds of bare concrete, {area} an hour",
            empty=None,
            help_text="Of a grinder. Left empty it is reckoned at the usual pace of the branch.",
        )
        self.fields["width_m"] = measure_box(
            us=self.us,
            convert=m_from_inches,
            label=f"Width, {width}",
            empty=None,
            help_text="It goes where the narrowest way in is known to be as wide. A site of "
            "unknown width or power gets the least demanding grinder.",
        )
        self.fields["power_kw"] = measure_box(
            us=self.us,
            convert=float,
            label="Heat it gives, kW",
            empty=None,
            help_text="Of a heater.",
        )


class JoinForm(StaffForm):
    """A person in a crew from a day on."""

    title, button = "Who is in which crew", "Put into the crew"
    installer_id = Typed(label="Person", needed=True, read=read_count)
    crew_id = Typed(label="Crew", needed=True, read=read_count)
    from_day = Typed(label="From", needed=True, widget=picker("date"))
    until_day = Typed(
        label="Until",
        empty=None,
        widget=picker("date"),
        help_text="The last day. Days that are booked keep the people they were booked with.",
    )

    def choose(self, branch: Branch) -> None:
        """People and crews."""
        people = Installer.objects.of_branch(branch)
        crews = Crew.objects.of_branch(branch).working()
        self.list_of("installer_id", [(str(each.pk), each.name) for each in people])
        self.list_of("crew_id", [(str(each.pk), each.name) for each in crews])
        self.day("from_day")
        self.day("until_day")


class LeaveForm(StaffForm):
    """A person who leaves their crew."""

    title, button = "Leave a crew", "Let them leave"
    installer_id = Typed(label="Person", needed=True, read=read_count)
    last_day = Typed(label="Last day", needed=True, widget=picker("date"))

    def choose(self, branch: Branch) -> None:
        """People."""
        people = Installer.objects.of_branch(branch)
        self.list_of("installer_id", [(str(each.pk), each.name) for each in people])
        self.day("last_day")


class AbsenceForm(StaffForm):
    """A person, crew or machine that is away."""

    title, button = "Away", "Enter the absence"
    resource_id = Typed(label="Who or what", needed=True, read=read_count)
    start = Typed(label="From", needed=True, widget=picker("datetime-local"))
    end = Typed(label="Until", needed=True, widget=picker("datetime-local"))
    why = Typed(label="Why")

    def choose(self, branch: Branch) -> None:
        """Everything that can be in one place only, people first."""
        things: list[Any] = [
            *Installer.objects.of_branch(branch),
            *Crew.objects.of_branch(branch).working(),
            *Machine.objects.of_branch(branch).filter(active=True),
        ]
        self.list_of("resource_id", [(str(each.resource_id), str(each)) for each in things])
        for name in ("start", "end"):
            self.fields[name].read = partial(read_moment, us=self.us)  # type: ignore[attr-defined]
