"""The forms of a repair: a step, the bench check, the weigh-out, and all three in one."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.furniture.pages.forms import (
    ActionForm,
    MassField,
    ScaleField,
    ScansField,
    WeighedForm,
)
from inventory.models import Part
from returns.bench.pages.attempts import FrameForm
from returns.mending.rules import blaming, fitting, mending, withdrawals
from returns.mending.rules.finishing import Ending, LastStep
from returns.mending.rules.mending import Check
from returns.models import BenchCheck, JobStep, Remedy, RepairJob
from returns.models.catalogue import ComponentKey

NOBODY: Final = "nobody"
LINES: Final = tuple(Check.__dataclass_fields__)


def _ask_step(form: ActionForm, step: JobStep) -> None:
    """Ask for the minutes, the planned parts, and one more part if it was needed."""
    form.fields["minutes"] = forms.IntegerField(
        label=_("Minutes"),
        min_value=1,
        max_value=mending.MINUTES_MAX,
        initial=step.remedy.minutes,
    )
    # Fields by the plan: the usual case is a look and a press, and another part is the
    # exception.
    planned = mending.planned_parts(step)
    for part in Part.objects.filter(code__in=planned).order_by("code"):
        form.fields[f"part-{part.code}"] = forms.IntegerField(
            label=part.name,
            min_value=0,
            max_value=fitting.PIECES_MAX,
            initial=planned[part.code],
            help_text=_t("Pieces used; %(free)s are free.")
            % {"free": fitting.free_for(part, step.job.frame.tag)},
        )
    form.fields["scanned"] = ScansField(
        kind="bin",
        is_asked=bool(planned),
        required=False,
        label=_("Labels of the bins"),
        help_text=_("Scan the bin of each part that you take, or type its code, one a line."),
    )
    form.fields["other"] = forms.ModelChoiceField(
        Part.objects.exclude(code__in=planned), required=False, label=_("Another part")
    )
    form.fields["other_pieces"] = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=fitting.PIECES_MAX,
        label=_("Pieces of it"),
    )


def _done_of(data: dict[str, Any], step: JobStep) -> dict[str, Any]:
    """Return what the rule takes of a step that was done."""
    used = {
        name.removeprefix("part-"): pieces
        for name, pieces in data.items()
        if name.startswith("part-") and pieces
    }
    if data["other"] is not None:
        # A part chosen without a number was one piece: that is what a hand takes.
        used[data["other"].code] = data["other_pieces"] or 1
    return {
        "step": step,
        "minutes": data["minutes"],
        "parts_used": used,
        "scanned": data["scanned"],
    }


class StepForm(ActionForm):
    """Minutes, the planned parts, and one more part if it was needed."""

    def __init__(self, step: JobStep, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.step = step
        _ask_step(self, step)

    def facts(self) -> dict[str, Any]:
        """Return what the rule takes."""
        return _done_of(self.cleaned_data, self.step)


class VerdictField(forms.TypedChoiceField):
    """One line of the check: it holds or it does not, and nobody leaves it open."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(
            choices=[("yes", _("holds")), ("no", _("does not"))],
            # A tick box cannot tell "does not hold" from "not looked at".
            coerce=lambda data: data == "yes",
            widget=forms.RadioSelect,
            error_messages={"required": _("Look at it, then say whether it holds.")},
            **facts,
        )


class CheckForm(FrameForm):
    closes_freely = VerdictField(label=_("The arms open and close freely"))
    screw_flush = VerdictField(label=_("The screws sit flush"))
    lens_held = VerdictField(label=_("The lenses are held"))
    no_sharp_edge = VerdictField(label=_("No edge is sharp, anywhere a finger or temple touches"))
    blamed = forms.ChoiceField(
        required=False,
        widget=forms.RadioSelect,
        label=_("If one does not hold: which step was it?"),
        help_text=_("Only this step is blamed, in what is learned of the remedies."),
    )

    def __init__(
        self, job: RepairJob, *args: Any, last: JobStep | None = None, **facts: Any
    ) -> None:
        super().__init__(*args, **facts)
        names = dict(ComponentKey.choices)
        self.steps = {str(one.pk): one for one in [*blaming.live_steps(job), *filter(None, [last])]}
        choices: Any = self.fields["blamed"]
        choices.choices = [
            *(
                (pk, f"{one.remedy.name} · {names.get(one.component, one.component)}")
                for pk, one in self.steps.items()
            ),
            (NOBODY, _t("nobody can tell")),
        ]
        if not self.steps:
            # Without a step there is nothing to blame, and a lone "nobody can tell" would be a
            # question about nothing.
            del self.fields["blamed"]

    def lines(self) -> list[Any]:
        """Return the bound fields of the four lines."""
        return [self[name] for name in LINES]

    def facts(self) -> dict[str, Any]:
        """Return what the rule takes. With all four holding, a leftover choice counts as none."""
        data = self.cleaned_data
        check = Check(**{name: data[name] for name in LINES})
        given = "" if check.passed else data.get("blamed", "")
        return {
            "check": check,
            "blamed": self.steps.get(given),
            "nobody_can_tell": given == NOBODY,
        }


class WeighOutForm(WeighedForm):
    reason = forms.CharField(
        required=False,
        label=_("Reason for a large difference"),
        max_length=200,
        help_text=_("Only when the scale disagrees with what is expected."),
    )


class EndingForm(CheckForm):
    """The last step if one is left, the check, and the weigh-out: one page, one press."""

    # One button notes the step or the check alone, so the browser must not ask for all fields.
    use_required_attribute = False
    is_optional_said = True

    scale = ScaleField(required=False)
    mass = MassField(required=False, label=_("Mass"))
    reason = forms.CharField(
        required=False,
        label=_("Reason for a large difference"),
        max_length=200,
        help_text=_("Only when the scale disagrees with what is expected."),
    )

    def __init__(self, job: RepairJob, step: JobStep | None, *args: Any, **facts: Any) -> None:
        super().__init__(job, *args, last=step, **facts)
        self.job, self.step = job, step
        if step is not None:
            _ask_step(self, step)

    def step_fields(self) -> list[Any]:
        """Return the bound fields of the step, in the order of the work."""
        others = ("other", "other_pieces")
        mine = [name for name in self.fields if name in ("minutes", "scanned") or "part-" in name]
        return [self[name] for name in mine if name not in others]

    def clean(self) -> dict[str, Any]:
        """Ask for the scale and its mass where all four lines hold."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if all(data.get(name) for name in LINES):
            if data.get("scale") is None and "scale" not in self.errors:
                self.add_error("scale", _t("Choose the scale that showed this mass."))
            if not data.get("mass") and "mass" not in self.errors:
                self.add_error(
                    "mass", _t("Weigh the mended frame, and write what the scale shows.")
                )
        return data

    def refuse_as(self, form: forms.Form) -> None:
        """Show what was sent with the faults of the step or the check that was tried alone."""
        self.full_clean()
        self._errors = form.errors

    def ending(self) -> Ending:
        """Return what the rule takes."""
        data = self.cleaned_data
        last = None if self.step is None else LastStep(**_done_of(data, self.step))
        weighed = {name: data[name] for name in ("scale", "mass", "reason")}
        return Ending(last=last, **self.facts(), **weighed)


class AddForm(ActionForm):
    remedy = forms.ModelChoiceField(Remedy.objects.filter(active=True), label=_("What is done"))
    component = forms.ChoiceField(label=_("To which part"), choices=ComponentKey.choices)


class WithdrawForm(ActionForm):
    reason = forms.CharField(
        label=_("Why it is withdrawn"),
        max_length=withdrawals.REASON_LENGTH_MAX,
        help_text=_("Both stay in the history. Name no customer here."),
    )


class WithdrawCheckForm(WithdrawForm):
    """It names its check, so that no other one is withdrawn in its place."""

    check = forms.ModelChoiceField(BenchCheck.objects.all(), widget=forms.HiddenInput)


class GiveUpForm(ActionForm):
    reason = forms.CharField(
        label=_("Why it cannot be mended"),
        max_length=200,
        help_text=_("Name no customer here."),
    )
