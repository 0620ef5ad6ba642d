"""What was learned in plain words and rounded numbers: the one place for pages, files and paper."""

from collections.abc import Mapping, Sequence
from typing import Final

from diagnostics.engine.faults import mode_words
from diagnostics.engine.words import _, number
from diagnostics.learning.plain import wilson
from diagnostics.learning.records import ClimateEffect, Estimate, LogRank, Range, month_words


def month_name(month: int) -> str:
    """'March 2004' (months as counted in learning.records)."""
    names = (
        _("January {year}"), _("February {year}"), _("March {year}"), _("April {year}"), _("May {year}"),
        _("June {year}"), _("July {year}"), _("August {year}"), _("September {year}"), _("October {year}"),
        _("November {year}"), _("December {year}"),
    )  # fmt: skip
    return names[month % 12].format(year=month // 12)


def months_phrase(first: int, last: int, *, open_first: bool = False, open_last: bool = False) -> str:
    """'up to March 2004', 'from May 2001 on', 'from May 2001 to March 2004', 'in May 2001'."""
    if open_first and not open_last:
        return _("up to {last}").format(last=month_name(last))
    if open_last and not open_first:
        return _("from {first} on").format(first=month_name(first))
    if first == last:
        return _("in {month}").format(month=month_name(first))
    return _("from {first} to {last}").format(first=month_name(first), last=month_name(last))


def range_phrase(found: Range) -> str:
    return months_phrase(found.first, found.last, open_first=found.open_first, open_last=found.open_last)


def ratio_number(value: float) -> float:
    """A ratio as it is said: to a tenth, from ten on to whole numbers, below 0.95 to two places."""
    return round(value, 2 if value < 0.95 else 1 if value < 9.95 else 0)


def ratio_words(value: float) -> str:
    return number(ratio_number(value), ".2f" if value < 0.95 else ".1f" if value < 9.95 else ".0f")


def interval_words(value: Estimate) -> str:
    """'2.6 to 6.3'"""
    return _("{low} to {high}").format(low=ratio_words(value.low), high=ratio_words(value.high))


def estimate_words(value: Estimate) -> str:
    """'4.1 (2.6 to 6.3)'"""
    return f"{ratio_words(value.estimate)} ({interval_words(value)})"


def percent_words(share: float) -> str:
    """A probability as it is said, never rounded up to certainty or down to nothing."""
    if 0.995 <= share < 1:
        return _("over 99 %")
    if 0 < share < 0.005:
        return _("under 1 %")
    return _("{percent} %").format(percent=f"{100 * share:.0f}")


def share_words(failed: float, of: float) -> str:
    """'31 of 80'"""
    return _("{failed} of {units}").format(failed=f"{failed:g}", units=f"{of:g}")


def share_interval_words(failed: int, seen: int) -> str:
    """'30 % (20 to 43)': the share failed of those seen, and where it lies with nine tenths of the probability by their
    number alone (Wilson)."""
    share = wilson(failed, seen)
    words = _("{share} ({low} to {high})")
    low, high = (f"{100 * end:.0f}" for end in (share.low, share.high))
    return words.format(share=percent_words(share.estimate), low=low, high=high)


def p_number(p: float) -> float:
    """A p-value as it is said: two digits that count."""
    return float(f"{p:.2g}")


def p_words(p: float) -> str:
    return _("under 0.0001") if p < 0.0001 else f"{p_number(p):g}"


KINDS: Final = {
    "BG": lambda: _("the switch"),
    "SF": lambda: _("the control switch"),
    "KF": lambda: _("the module"),
    "GP": lambda: _("the pump"),
    "MM": lambda: _("the cylinder"),
    "MA": lambda: _("the motor"),
    "QM": lambda: _("the valve"),
    "MB": lambda: _("the latch"),
    "GB": lambda: _("the supply"),
}
"""By letter code (IEC 81346-2), for parts whose name is that of a place or a state."""


def part_words(positions: Sequence[str], names: Mapping[str, str], part: str) -> str:
    """'the switch BG3 (Lid shut)', 'the cylinder MM1 and MM2 (Lid cylinder, left; Lid cylinder, right)', to stand in a
    sentence; the part's number where nobody declared its positions."""
    called = [names[code] for code in positions if code in names]
    if not called:
        return _("the part {number}").format(number=part)
    letters = positions[0].rstrip("0123456789")
    kind = KINDS.get(letters, lambda: _("the part"))()
    codes = _(" and ").join(positions) if len(positions) < 3 else ", ".join(positions)
    return f"{kind} {codes} ({'; '.join(called)})"


def part_title(positions: Sequence[str], names: Mapping[str, str], part: str) -> str:
    """'BG3 Lid shut', 'BG1, BG2 Header latch locked; Header latch open', for a heading."""
    called = [names[code] for code in positions if code in names]
    return f"{', '.join(positions)} {'; '.join(called) or part}"


def range_sentence(name: str, mode: str, found: Range) -> str:
    """'Among 214 cars seen here, the header switch of cars made up to March 2004 fails 4.1 times as often (2.6 to 6.3)
    as in the others (stays made): 31 of 80 failed, against 12 of 134.' `name`: as part_words gives it."""
    words = _(
        "Among {cars} cars seen here, {part} of cars made {months} fails {ratio} times as often ({interval}) as in "
        "the others ({mode}): {inside} failed, against {outside}."
    )
    return words.format(
        cars=found.inside.cars + found.outside.cars,
        part=name,
        months=range_phrase(found),
        ratio=ratio_words(found.ratio.estimate),
        interval=interval_words(found.ratio),
        mode=mode_words(mode),
        inside=share_words(found.inside.failed, found.inside.units),
        outside=share_words(found.outside.failed, found.outside.units),
    )


def made_in_words(found: Range) -> str:
    """'Made up to March 2004: fails 4.1 times as often here (2.6 to 6.3).', said of one car."""
    words = _("Made {months}: fails {ratio} times as often here ({interval}).")
    return words.format(
        months=range_phrase(found), ratio=ratio_words(found.ratio.estimate), interval=interval_words(found.ratio)
    )


def ends_sentence(found: Range) -> str:
    """Where the two ends may lie: the months that hold nine tenths of the probability of each."""
    first = _("It reaches further back than the oldest car seen here, as far as can be told.")
    if not found.open_first:
        first = _("It begins between {low} and {high}.").format(
            low=month_name(found.first_set[0]), high=month_name(found.first_set[1])
        )
    last = _("It goes on to the newest car seen here.")
    if not found.open_last:
        last = _("It ends between {low} and {high}.").format(
            low=month_name(found.last_set[0]), high=month_name(found.last_set[1])
        )
    return f"{first} {last} " + _("Each of the two with nine tenths of the probability.")


def chance_sentence(found: Range) -> str:
    """How likely it is that there is a range here at all."""
    return _("That these months differ from the others at all has a probability of {percent}.").format(
        percent=percent_words(found.probability)
    )


def log_rank_sentence(test: LogRank, p_adjusted: float, searched: int) -> str:
    """What the log-rank test says of a range, and what it does not."""
    words = _(
        "Log-rank test of inside against outside, without any model: chi square {chi2}, p {p}; adjusted over all "
        "{searched} results of the search for ranges (Benjamini and Hochberg) p {adjusted}. These months were chosen "
        "by looking at the same data, so that p promises too much: what counts is the probability of the range."
    )
    return words.format(chi2=f"{test.chi2:.2f}", p=p_words(test.p), searched=searched, adjusted=p_words(p_adjusted))


def caution_sentences() -> tuple[str, ...]:
    """What must stand beside every number of this kind."""
    return (
        _("A shop sees the cars that come to it, and those come because something fails."),
        _("So ratios between production ranges are sounder than rates."),
        _("A range that few failures show is often told stronger than it is."),
        _("A range found in the data is a proposal until the owner confirms it."),
    )


def climate_words(climate: str) -> str:
    return {"temperate": _("temperate"), "hot": _("hot"), "cold": _("cold")}.get(climate, climate)


def climate_sentence(effect: ClimateEffect) -> str:
    words = _("Cars from a {climate} climate fail {ratio} times as often as those from a temperate one ({interval}).")
    return words.format(
        climate=climate_words(effect.climate),
        ratio=ratio_words(effect.ratio.estimate),
        interval=interval_words(effect.ratio),
    )


def curve_words(label: str) -> str:
    return {"all": _("all"), "inside": _("inside"), "outside": _("outside")}.get(label, label)


def file_month(month: int) -> str:
    """'2004-03', as in files."""
    return month_words(month)
