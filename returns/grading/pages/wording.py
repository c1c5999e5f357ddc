"""Words for what the sums and the history say: reasons, states, events, what the mass fits."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django.utils.formats import number_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from inventory.furniture.numbers import fixed
from inventory.furniture.wording import money, ppm
from inventory.models import Part
from returns.models import FrameModel, Grading
from returns.models.catalogue import ComponentKey
from returns.models.remedies import DefectKey, Method

Words = Mapping[str, str | Promise]

STATES: Words = {
    "weighed": _("to look over"),
    "held": _("on hold"),
    "to_mend": _("to mend"),
    "mending": _("being mended"),
    "mended": _("mended"),
    "posted": _("posted"),
    "to_strip": _("to strip"),
    "to_return": _("to post back as it is"),
    "boxed": _("in a regrind box"),
    "ground": _("ground"),
    "posted_as_is": _("posted back as it is"),
    "voided": _("weigh-in undone"),
    "discarded": _("disposed of"),
}

OUTCOMES: Words = {
    "repair": _("Repair"),
    "regrind": _("Regrind"),
    "hold": _("Hold"),
}

DISPOSITIONS: Words = {
    "mend": _("Mend it."),
    "grind": _("Strip it; its plastic goes into the regrind box."),
    "post_back": _("Post it back to the customer as it is. It is not ground."),
    "wait": _("Keep it on the hold shelf until what is named below is settled."),
    "set_aside": _("Keep it on the hold shelf, away from our own plastic."),
}

WISHES: Words = {
    "": _("not recorded"),
    "regrind": _("grind it if it cannot be mended"),
    "post_back": _("post it back as it is if it cannot be mended"),
}

POLYMERS: Words = {
    "ours": _("ours"),
    "foreign": _("not ours"),
    "unknown": _("not identified"),
}

REASONS: Words = {
    "no-fault-found": _("Nothing is wrong with the frame: check it, clean it and post it back."),
    "nothing-noted": _("No finding is noted. Look the frame over, or state that it is sound."),
    "foreign-polymer": _("The plastic is not ours, so it never goes into our regrind box."),
    "foreign-part": _("Take the foreign part off (%(component)s) before the frame is boxed."),
    "polymer-unknown": _("The plastic is not identified. Identify it before the frame is ground."),
    "model-unknown": _("The model is not known. Find it, or type the batch at the look-over."),
    "wish-unknown": _("Ask the customer first: nothing is ground without a recorded wish."),
    "post-back": _("The customer wants a frame that cannot be mended back as it is."),
    "mends-used-up": _("It was mended %(mends)s times before; the limit is %(limit)s."),
    "no-remedy": _("There is no remedy for: %(component)s, %(defect)s."),
    "no-allowed-remedy": _("No remedy is allowed for: %(component)s, %(defect)s."),
    "needs-measuring": _("Measure it, then grade again: %(component)s, %(defect)s."),
    "banned-method": _("“%(method)s” is never used for “%(defect)s”."),
    "beyond-measured-limit": _(
        "“%(defect)s” measures %(measured_mm)s mm; from %(limit_mm)s mm on only replacing remains."
    ),
    "not-measured": _("%(component)s, %(defect)s: not measured, and this remedy depends on it."),
    "wall-not-measured": _("%(component)s: the wall round the hole is not measured."),
    "wall-too-thin": _(
        "%(component)s: the wall is %(wall_mm)s mm, and this remedy needs %(limit_mm)s mm."
    ),
    "waiting-for-parts": _("Mending is worth it, but parts are missing: %(parts)s."),
    "cheapest-within-ceiling": _(
        "Mending is expected to cost %(expected)s, within the ceiling of %(ceiling)s."
    ),
    "over-ceiling": _("Mending is expected to cost %(expected)s, over the ceiling of %(ceiling)s."),
    "minutes-tip": _("Regrind would win if this took more than %(minutes_max)s minutes."),
    "minutes-tip-over": _("Mending would win if it took %(minutes_max)s minutes or less."),
    "odds-tip": _(
        "It stays within the ceiling if it works at least %(odds_percent)s %% of the time."
    ),
    "any-odds": _("It stays within the ceiling even if it hardly ever works."),
    "search-bounded": _("There were too many plans to compare; the likeliest were kept."),
}

EVENTS: Words = {
    "bench.take_in_hand": _("Taken in hand"),
    "bench.put_down": _("Put down"),
    "arrivals.book": _("Parcel booked"),
    "arrivals.weigh_in": _("Weighed in"),
    "arrivals.assign": _("Given to its request"),
    "arrivals.finish": _("Parcel finished"),
    "arrivals.reopen": _("Parcel opened again"),
    "arrivals.unweigh": _("Weigh-in undone"),
    "joining.join": _("A part that came later joined it"),
    "joining.take_out": _("A part that had joined it taken out again"),
    "asking.ask": _("Customer asked"),
    "asking.answer": _("Customer has answered"),
    "asking.remind": _("Customer reminded of the question"),
    "asking.withdraw": _("Question to the customer withdrawn"),
    "stripdown.strip": _("Stripped, and put in its box"),
    "stripdown.undo": _("Strip-down undone"),
    "stripdown.discard_foreign": _("Discarded as foreign waste"),
    "mending.open_job": _("Mending started"),
    "mending.add_step": _("Step added"),
    "mending.drop_step": _("Step taken off"),
    "mending.do_step": _("Step done"),
    "mending.check": _("Bench check noted"),
    "mending.withdraw_check": _("Bench check withdrawn: noted by mistake"),
    "mending.withdraw_step": _("Step withdrawn: noted by mistake"),
    "mending.give_up": _("Repair given up"),
    "mending.weigh_out": _("Weighed out"),
    "posting_out.post_frame": _("Posted"),
    "posting_out.post_lenses": _("Lenses posted"),
    "posting_out.hand_over_frame": _("Handed over at the counter"),
    "posting_out.hand_over_lenses": _("Lenses handed over at the counter"),
    "regrind.ground": _("Ground with its box"),
    "lookover.grade": _("Looked over and graded"),
    "lookover.overrule": _("Grading overruled"),
    "lookover.record_wish": _("Customer's wish recorded"),
    "salvaging.approve": _("Part of a donor promised to it"),
    "salvaging.withdraw": _("Promise of a donor's part withdrawn"),
    "salvaging.keep": _("Promised part kept and reserved"),
    "salvaging.lapse": _("Promised part not kept at the strip-down"),
    "salvaging.take_up": _("Promised again, for the strip-down was undone"),
}

MOVEMENTS: Words = {
    "weigh_in": _("weighed in"),
    "join_part": _("a later part joined it"),
    "carry": _("carried"),
    "fit_part": _("parts fitted"),
    "post_frame": _("posted"),
    "strip_down": _("stripped"),
}

# What a held frame waits for; the other reasons only say how it came to that.
_WAITS_FOR = (
    "foreign-polymer",
    "wish-unknown",
    "polymer-unknown",
    "model-unknown",
    "waiting-for-parts",
    "needs-measuring",
    "nothing-noted",
)
_MONEY = ("expected", "ceiling")
_DECIMALS = ("measured_mm", "limit_mm", "wall_mm", "odds_percent")
# How a grading keeps the parts that it lacks: "2 x screw-m14, 1 x arm-avocet".
_PIECES = re.compile(r"(?P<pieces>[0-9]+) x (?P<code>[^,]+)")


def part_names() -> dict[str, str]:
    """The name of every part by its code; read once for a page."""
    return dict(Part.objects.values_list("code", "name"))


def reason(
    kept: Mapping[str, Any], currency: str = "", names: Mapping[str, str] | None = None
) -> str:
    """One kept reason as a sentence in the page's language; parts by their `names`."""
    template = REASONS.get(kept["key"])
    if template is None:
        # A grading of earlier days may hold a reason that is given no more; its English sentence
        # was kept with it.
        return str(kept.get("text", kept["key"]))
    params = {name: _param(name, data, currency) for name, data in kept["params"].items()}
    if "parts" in params and names is not None:
        found = _PIECES.finditer(params["parts"])
        params["parts"] = parts({one["code"]: int(one["pieces"]) for one in found}, names)
    return str(template) % params


def parts(pieces_of: Mapping[str, int], names: Mapping[str, str]) -> str:
    """Parts with their pieces, by name: a code stands where a part has left the list."""
    data = [f"{pieces} × {names.get(code, code)}" for code, pieces in pieces_of.items()]
    return ", ".join(data)


def evidence(kept: Mapping[str, Any]) -> list[str]:
    """Where a remedy's odds and minutes come from: the owner's estimate and what was seen here."""
    shared = kept.get("shared", 0)
    tried = kept["worked"] + kept["failed"] + shared
    typed = ppm(kept["typed_odds_ppm"])
    if not tried:
        data = [_t("The odds are the owner's estimate; it was not checked here yet.")]
    else:
        data = [
            ngettext(
                "It held %(worked)s of the %(tried)s time that it was checked here; the owner's "
                "estimate of %(typed)s still counts as %(weight)s more.",
                "It held %(worked)s of the %(tried)s times that it was checked here; the owner's "
                "estimate of %(typed)s still counts as %(weight)s more.",
                tried,
            )
            % {
                "worked": round(kept["worked"] + shared - kept.get("shared_failed", 0)),
                "tried": tried,
                "typed": typed,
                "weight": kept["weight"],
            }
        ]
    if shared:
        data.append(
            ngettext(
                "Of %(shared)s failed check nobody could tell which step did not hold; "
                "%(failed)s of it is blamed on this one.",
                "Of %(shared)s tries in failed checks nobody could tell which step did not hold; "
                "%(failed)s of them are blamed on this one.",
                shared,
            )
            % {"shared": shared, "failed": fixed(kept["shared_failed"], 1)}
        )
    if kept["timed"]:
        data.append(
            ngettext(
                "The minutes draw on %(timed)s time noted here.",
                "The minutes draw on %(timed)s times noted here.",
                kept["timed"],
            )
            % {"timed": kept["timed"]}
        )
    return data


def _param(name: str, data: Any, currency: str) -> str:
    if name in _MONEY and isinstance(data, int):
        return str(money(data, currency))
    if name in _DECIMALS:
        return number_format(str(data))
    choices: dict[str, Any] = {"component": ComponentKey, "defect": DefectKey, "method": Method}
    if name in choices and data in choices[name].values:
        return str(choices[name](data).label)
    return str(data)


def why_held(grading: Grading, names: Mapping[str, str]) -> str:
    """The overruling if there was one, else the reason that somebody can do something about."""
    if grading.overrule_reason:
        return grading.overrule_reason
    reasons = grading.sums.get("reasons") or []
    chosen = [one for one in reasons if one["key"] in _WAITS_FOR] or reasons
    return reason(chosen[0], grading.sums["facts"]["currency"], names) if chosen else ""


def event(name: str) -> str:
    """An event in words; its own name when it belongs to another part of the house."""
    return str(EVENTS.get(name, name.replace(".", ": ").replace("_", " ")))


def component(key: str) -> str:
    return _param("component", key, "")


def defect(key: str) -> str:
    return _param("defect", key, "")


def mass_verdict(massfit: Mapping[str, Any]) -> str:
    """What the mass says, in one plain sentence."""
    verdict, models = massfit.get("verdict", ""), massfit.get("models")
    if verdict in _FITS_WITH:
        return _FITS_WITH[verdict] % {"what": _what(massfit["fits"][0])}
    if verdict != "cannot_tell" or not models:
        return str(_FITS.get(verdict, _("The mass alone cannot tell. Look at the frame.")))
    names = (
        FrameModel.objects.filter(code__in=models).order_by("name").values_list("name", flat=True)
    )
    return _t("The model is not known. By mass alone it could be: %(models)s.") % {
        "models": ", ".join(names)
    }


_FITS: Words = {
    "complete": _("The mass fits a complete frame best."),
    "foreign": _("It is heavier than this model can be: look for something foreign."),
}
_FITS_WITH: Words = {
    "missing": _("The mass fits a frame with something missing best: %(what)s."),
    "extra": _("The mass fits a frame with a part too many best: %(what)s."),
    "exchanged": _("The mass fits a frame with a part exchanged best: %(what)s."),
    "missing_and_foreign": _(
        "The mass fits a frame with something foreign on it best, and missing: %(what)s."
    ),
}


def _what(fit: Mapping[str, Any]) -> str:
    """The parts that an explanation names."""
    if fit["explanation"] == "exchanged":
        return exchanges(fit["exchanged"])
    return alternatives(fit["missing"] or fit["extra"])


def alternatives(sets: list[list[str]]) -> str:
    """The sets of parts that would explain a deficit, or an excess, equally well."""
    joiner = _t(" or ")
    return joiner.join(" + ".join(component(key) for key in keys) for keys in sets[:4])


def exchanges(changes: list[Mapping[str, Any]]) -> str:
    """The exchanges of one part for another that would explain a mass equally well."""
    return _t(" or ").join(_exchange(change) for change in changes[:4])


def _exchange(change: Mapping[str, Any]) -> str:
    gone, come = (" + ".join(component(key) for key in change[way]) for way in ("gone", "come"))
    if change["of"]:
        return _t("%(part)s of model %(model)s") % {"part": come, "model": change["of"]}
    return _t("%(come)s instead of %(gone)s") % {"come": come, "gone": gone}


_EXPLANATIONS: Words = {
    "complete": _("complete"),
    "missing": _("missing: %(what)s"),
    "extra": _("too many: %(what)s"),
    "exchanged": _("exchanged: %(what)s"),
    "foreign": _("something foreign on it"),
    "missing_and_foreign": _("something foreign on it, and missing: %(what)s"),
    "unexplained": _("lighter than any missing part explains"),
}


def explanation(fit: Mapping[str, Any]) -> str:
    """One explanation of a reading, named."""
    return _EXPLANATIONS[fit["explanation"]] % {"what": _what(fit)}


def percent(share: float) -> str:
    """A share 0 to 1 in percent."""
    return str(ppm(round(share * 1_000_000)))
