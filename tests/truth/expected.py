"""What the slow program says of a made-up patient, under the names that the product has for its numbers.

Of one treatment: from the figures that were noted, by the published rules. Of a month: from what was really done, and
the dose of its weeks by integration.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from statistics import fmean

from tests.truth import slow
from tests.truth.people import DAY, MARCH, ZONE, Life, day_of
from tests.truth.slow import Night, Urea, Week

LEAST_SHARE = 1 / 3
"""Of what is ordered: a treatment shorter than that was broken off and is none (common practice)."""
LONGEST_FOR_REDUCTION = 300
"""Minutes: beyond five hours the reduction ratio is no measure of a dose (KDOQI 2006, guideline 2)."""
RATIOS = (0.1, 0.8)
"""Outside of them the logarithm is not trusted (common practice)."""

Numbers = dict[str, float | None]


def counts(life: Life, night: Night) -> bool:
    return night.minutes >= LEAST_SHARE * life.order.minutes


def before(life: Life, night: Night) -> Night | None:
    """The treatment before this one as it really was, whether the unit knows it or not."""
    earlier = [each for each in life.nights if each.start < night.start and counts(life, each)]
    return earlier[-1] if earlier else None


def weighed_before(life: Life, night: Night) -> Night | None:
    """Whatever ran before this treatment, also if it was broken off at once; None where the unit does not know it."""
    earlier = [each for each in life.nights if each.start < night.start]
    return earlier[-1] if earlier and earlier[-1].known else None


def catheter(life: Life, day: date) -> bool:
    there = [each for each in life.accesses if each.made <= day and (each.given_up is None or day < each.given_up)]
    return there[-1].kind == "catheter"


def of_night(life: Life, night: Night, urea: Urea | None) -> Numbers:
    """urea: where samples were drawn; a laboratory gives tenths."""
    removed, last, weighed = slow.fluid_removed(night), before(life, night), weighed_before(life, night)
    found: Numbers = {
        "minutes": night.minutes,
        "uf_volume": removed[0] if removed else None,
        "uf_rate": _rate(night),
        "gain": night.pre_kg - weighed.post_kg if weighed and night.pre_kg and weighed.post_kg else None,
        "off_target": night.post_kg - life.person.target_kg if night.post_kg else None,
    }
    return found | (_dose(life, night, urea, last) if urea else {})


def _rate(night: Night) -> float | None:
    removed = slow.fluid_removed(night)
    return slow.fluid_rate(removed[0], night.minutes, night.post_kg) if removed and night.post_kg else None


def _dose(life: Life, night: Night, urea: Urea, last: Night | None) -> Numbers:
    pre, post = round(urea.plasma_before, 1), round(urea.plasma_after, 1)
    days = (night.start - last.start) / DAY if last else None
    net = slow.net_fluid(night)
    single = None
    if net is not None and night.post_kg and RATIOS[0] <= post / pre <= RATIOS[1]:
        single = slow.single_pool(
            pre=pre, post=post, minutes=night.minutes, net_l=net, post_kg=night.post_kg, days=days
        )
    settled = slow.equilibrated(single, night.minutes, catheter=catheter(life, day_of(night))) if single else None
    found: Numbers = {"single_pool_ktv": single, "equilibrated_ktv": settled}
    return found | ({"urr": slow.reduction(pre, post)} if night.minutes < LONGEST_FOR_REDUCTION else {})


# Of March ---------------------------------------------------------------------------------------------------------


def moment(day: date) -> datetime:
    return datetime.combine(day, time(0), ZONE)


def at_home(life: Life) -> tuple[datetime, datetime, list[tuple[datetime, datetime]]]:
    """From when to when in March the patient was treated at home, and what of it was spent in hospital."""
    first = max(MARCH[0], moment(life.joined))
    last = min(MARCH[1], moment(life.left + DAY)) if life.left else MARCH[1]
    return first, last, [(moment(begin), moment(end + DAY)) for begin, end in life.stays]


def days_in_treatment(life: Life) -> float:
    """Calendar days: the one on which the clocks go forward is a day like others."""
    return float(len(_days(life)))


def _days(life: Life) -> list[date]:
    first, last, stays = at_home(life)
    count = (last.date() - first.date()).days
    every = [first.date() + index * DAY for index in range(count)]
    return [day for day in every if not any(begin <= moment(day) < end for begin, end in stays)]


def due(life: Life) -> int:
    """Treatments that the order asks for on the days in treatment, by its weekdays."""
    return sum(life.order.due(day) for day in _days(life))


def done(life: Life) -> list[Night]:
    """What the unit knows of March, without what was broken off at once."""
    return [night for night in slow.in_span(life.known, *MARCH) if counts(life, night)]


def _over_a_due_day(life: Life, night: Night) -> bool:
    last = weighed_before(life, night)
    first, days = day_of(last or night) + DAY, (day_of(night) - day_of(last or night)).days - 1
    return any(life.order.due(first + index * DAY) for index in range(days))


def month_of_records(life: Life) -> Numbers:
    """Hours, gains and weights after are those of whatever ran; the rest is of treatments that were no breaking off.

    A gain over a day on which a treatment was due and none is entered is none between two treatments.
    """
    nights = done(life)
    rates = [rate for night in nights if (rate := _rate(night)) is not None]
    off = [night.post_kg - life.person.target_kg for night in slow.in_span(life.known, *MARCH) if night.post_kg]
    every = slow.in_span(life.known, *MARCH)
    told = [night for night in every if not _over_a_due_day(life, night)]
    gained = [gain for night in told if (gain := of_night(life, night, None)["gain"]) is not None]
    return {
        "weekly_hours": slow.hours_a_week(every, days_in_treatment(life)),
        "uf_rate_mean": fmean(rates),
        "uf_rate_highest": max(rates),
        "gain_mean": fmean(gained),
        "off_target_mean": fmean(off),
        "gain_percent_mean": 100 * fmean(gained) / life.person.target_kg,
        "uf_over": 100 * sum(round(rate, 1) > life.order.limit for rate in rates) / len(rates),
    }


def kidney(life: Life, course: Sequence[Urea], *, urine_ml: float) -> Numbers:
    """Of the last collection, by the two samples at its ends as a laboratory tells them, for 1.73 m2."""
    index = max(at for at, each in enumerate(course[:-1]) if day_of(each.night) in life.urine)
    last, following = course[index], course[index + 1]
    minutes = (following.night.start - last.night.start).total_seconds() / 60 - last.night.minutes
    cleared = slow.kidney_clearance(
        urine=round(following.excreted_between / (urine_ml / 1000), 2), urine_ml=urine_ml, minutes=minutes,
        start=round(last.plasma_after, 1), end=round(following.plasma_before, 1),
    )  # fmt: skip
    return {
        "kidney_clearance": cleared * 1.73 / _surface(life),
        "urine_day": urine_ml / minutes * 1440,
        "kidney_age": (MARCH[1] - following.night.start) / DAY,
    }


def real_kidney(life: Life) -> float:
    """What the kidneys really clear of plasma, for 1.73 m2."""
    return life.person.kidney / slow.PLASMA_WATER * 1.73 / _surface(life)


def _surface(life: Life) -> float:
    return slow.surface(height_cm=life.person.height_cm, weight_kg=life.person.target_kg)


def march_at_home(life: Life, course: Sequence[Urea]) -> list[Urea]:
    """What was really done at home in March, written down or not."""
    first, last, _ = at_home(life)
    return [each for each in course if first <= each.night.start < last and each.night.at_home]


def week_of_march(life: Life, course: Sequence[Urea]) -> Week:
    return slow.standard_week(life.person, march_at_home(life, course), least_minutes=LEAST_SHARE * life.order.minutes)


def week_up_to(life: Life, course: Sequence[Urea], night: Night) -> Week:
    """Of the four weeks at home up to a treatment, this one counted."""
    lately = [
        each
        for each in course
        if night.start - 28 * DAY <= each.night.start <= night.start and each.night.at_home and each.night.known
    ]
    return slow.standard_week(life.person, lately, least_minutes=LEAST_SHARE * life.order.minutes)


def had_they_been_left_out(life: Life) -> Week:
    """The month's dose, had the treatments that nobody wrote down not been done at all."""
    nights = [night for night in life.nights if night.known or not night.at_home or night.start < _first_known(life)]
    return week_of_march(life, slow.urea_course(life.person, nights))


def _first_known(life: Life) -> datetime:
    return life.known[0].start


def since_known(life: Life) -> list[Night]:
    """From the first treatment on of which the unit has a record."""
    return [night for night in life.nights if night.start >= _first_known(life)]


def protein(life: Life) -> float:
    return slow.protein(life.person.generation, life.person.volume)
