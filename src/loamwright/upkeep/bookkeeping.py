"""What was bought and decided, the next season, and copies."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loamwright import files, needs, season, supplies, work
from loamwright.errors import InputError, Level, Problem
from loamwright.needs import Decision
from loamwright.supplies import Form, MixAnswer, Movement, StockEntry
from loamwright.upkeep.transaction import Changed, changing
from loamwright.values import MixDecision, Nutrient
from loamwright.words import earlier_words, mass_words, rate_words


def _refuse_more_back_than_there_is(
    record: work.PropertyRecord, entry: StockEntry, answers: Mapping[str, str]
) -> None:
    """Ask when more is returned than the shed holds by what is written down."""
    if entry.kind is not Movement.RETURNED or answers.get("returned") == "it is right":
        return
    stock = work.stock_of(record).get(entry.product)
    there_kg, units = 0.0 if stock is None else max(0.0, stock.left_kg), record.info.units
    back_kg = entry.count * entry.package_kg
    if back_kg > there_kg * (1 + 1e-9):
        back, there = mass_words(back_kg, units), mass_words(there_kg, units)
        what = f"{back} of {entry.product} go back, and {there} are there"
        fix = "Write down what was bought first, or say that it is right."
        raise InputError(
            [Problem("purchase", what, fix, question="returned", choices=("it is right", "leave it"))]
        )


#: A decided amount above this many times the published one is asked about (our choice).
FAR = 1.5


def purchase(
    path: Path,
    product: str,
    count: float,
    kind: Movement,
    today: dt.date,
    by: str,
    package: str = "",
    paid: str | None = None,
    dated: str | None = None,
    seller: str = "",
    note: str = "",
    answers: Mapping[str, str] | None = None,
) -> Changed:
    """Write down what was bought, received, returned or counted.

    Parameters
    ----------
    path
        The property file.
    product, package
        What; the package may be left out when the product is offered in one only.
    count
        Packages; of a count, all that are there.
    kind
        Bought, received, returned or counted.
    today
        Date when none is typed.
    by
        Who.
    paid, dated
        As typed; None = not stated, today.
    seller, note
        As written.
    answers
        Answers to what was asked before, by question id.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the product or package is not known, or a value is not possible; a question when more is returned
        than there is. Nothing was changed.
    """
    said = answers or {}
    if not 0 <= count <= 1_000_000:
        raise InputError([Problem("purchase", f"{count:g} is no number of packages", "Write zero or more.")])
    with changing(path, today, f"purchase {product} {count:g} {kind.value}", by) as editor:
        record = editor.record()
        label = files.find(files.thing_of("product"), record, product)
        offers = [offer for offer in record.offers if offer.product == label.product and offer.package_kg]
        package = package or said.get(f"package:{label.product}", "")
        wanted = [o for o in offers if not package or o.package.casefold() == package.strip().casefold()]
        packages = dict.fromkeys(offer.package for offer in wanted)
        if len(packages) != 1:
            there = ", ".join(dict.fromkeys(offer.package for offer in offers)) or "none with a known weight"
            what = (
                f"{label.product} is not offered as {package!r}"
                if package and not wanted
                else f"{label.product} is offered in {len(packages)} packages"
            )
            question = f"package:{label.product}"
            choices = tuple(packages) or tuple(dict.fromkeys(offer.package for offer in offers))
            fix = f"Name one with `package`: {there}."
            raise InputError([Problem("purchase", what, fix, question=question, choices=choices)])
        offer = next((o for o in wanted if not seller or o.seller.casefold() == seller.casefold()), wanted[0])
        texts = [f"{name}={value}" for name, value in (("paid", paid), ("dated", dated)) if value is not None]
        entry = StockEntry(
            purchase_id=uuid.uuid4().hex[:12],
            kind=kind,
            product=label.product,
            package=offer.package,
            package_kg=offer.package_kg or 0.0,
            count=count,
            dated=today,
            recorded_at=dt.datetime.now().astimezone().isoformat(timespec="seconds"),
            offer_id=offer.offer_id,
            seller=seller or offer.seller,
            made_by=by or record.info.settings.keeper,
            note=note,
        )
        entry = files.assigned(files.thing_of("purchase"), record, entry, texts)
        _refuse_more_back_than_there_is(record, entry, said)
        editor.put_purchases([entry])
        left = work.stock_of(editor.record())[label.product]
    there = ", ".join(f"{n:.4g} × {name}" for name, (n, _) in left.packages.items())
    told: tuple[Problem, ...] = ()
    if left.earlier_kg:
        what = earlier_words(left.earlier_kg, record.info.units)
        fix = f"Undo this and give the day it came, or count what is there of {label.product}."
        told = (Problem(f"stock of {label.product}", what, fix, Level.WARNING),)
    return Changed(
        editor.change_id,
        f"{kind.value.capitalize()} {count:g} × {offer.package} of {label.product}; in stock now: {there}.",
        (("purchase_id", "—", entry.purchase_id),),
        told,
    )


def decide_mix(path: Path, pair: str, may: bool, because: str, today: dt.date, by: str) -> Changed:
    """Write down whether two products may share a hopper on this property.

    Parameters
    ----------
    path
        The property file.
    pair
        The two products: ``"MAP 11-52-0 + Urea 46-0-0"``, names in any case.
    may
        Whether they may.
    because
        Why: who says so, or what happened.
    today
        The date of the decision.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When a product is not known, no reason is given, or a published page forbids what is allowed here;
        nothing was changed.
    """
    names = [name.strip() for name in pair.split(" + ")]
    if len(names) != 2 or not all(names):
        what = f"{pair!r} does not name two products"
        raise InputError(
            [Problem("mix", what, "Write both with a plus between them: 'MAP 11-52-0 + Urea 46-0-0'.")]
        )
    if not because.strip():
        raise InputError([Problem("mix", "no reason is given", "Say why with `because`: who says so?")])
    word = "yes" if may else "no"
    with changing(path, today, f"decide mix {pair} {word}", by) as editor:
        record = editor.record()
        one, other = (files.find(files.thing_of("product"), record, name) for name in names)
        found = supplies.may_mix(one, other, files.load_mixing())
        if one is other or one.form is not Form.DRY or other.form is not Form.DRY:
            what = "only two different dry products can share a hopper"
            raise InputError(
                [Problem(f"mix, {pair}", what, f"{found.because[:1].upper()}{found.because[1:]}.")]
            )
        if may and found.answer is MixAnswer.NO:
            fix = "A published page has the last word over a habit; spread them one after the other."
            because = f": {found.because}" if found.because else ""
            raise InputError([Problem(f"mix, {pair}", f"{found.source} says no{because}", fix)])
        info = record.info
        rules = info.settings.work
        pair_ids = {one.product, other.product}
        kept = tuple(each for each in rules.mixing if {each.one, each.other} != pair_ids)
        first, second = sorted(pair_ids)
        made = MixDecision(first, second, may, because.strip())
        rules = replace(rules, mixing=(*kept, made))
        editor.put_info(replace(info, settings=replace(info.settings, work=rules)))
    before = next((each for each in info.settings.work.mixing if {each.one, each.other} == pair_ids), None)
    was = "—" if before is None else "yes" if before.may else "no"
    told = f"{made.one} and {made.other} {'may' if may else 'may not'} share a hopper here."
    return Changed(editor.change_id, told, ((f"mix.{made.one} + {made.other}", was, word),))


def _far_from_print(
    view: season.Season,
    plots: Sequence[str],
    supply: str,
    kind: str,
    figure: float,
    answers: Mapping[str, str],
) -> list[Problem]:
    """Hold a decision against what is printed: a share of nothing is refused, a far amount is asked about."""
    units, found = view.record.info.units, []
    for name in plots:
        plot_id = files.find(files.thing_of("plot"), view.record, name).plot_id
        asked = view.needs_before[plot_id]
        need = asked.lime if supply == "lime" else asked.of(Nutrient(supply))
        published = None if need is None else need.published_kg_ha
        if published is None and need is not None and need.between_kg_ha is None:
            published = need.rate_kg_ha
        low, high = (need.between_kg_ha if need is not None else None) or (0.0, published)
        where = f"decide {plot_id} {supply}"
        if kind == "share":
            if published is None:
                what = "there is no one published rate to take a share of"
                fix = "Write an amount"
                if high is not None:
                    fix += f" from {rate_words(low, units)} to {rate_words(high, units)}, as printed"
                found.append(Problem(where, what, f"{fix}."))
            continue
        most = None if high is None else high if low else high * FAR
        ident, choices = f"decide-{plot_id}-{supply}", ("keep it", "leave it")
        if most is not None and not low <= figure <= max(most, low) and answers.get(ident) != choices[0]:
            ends = need.between_kg_ha if need is not None else None
            printed = " to ".join(rate_words(one, units) for one in ends or (high or 0.0,))
            what = f"{rate_words(figure, units)} is far from what is printed, {printed}"
            found.append(Problem(where, what, "Is it meant?", question=ident, choices=choices))
    return found


def decide(
    path: Path,
    plots: Sequence[str],
    supply: str,
    value: str,
    because: str,
    today: dt.date,
    by: str,
    any_crop: bool = False,
    answers: Mapping[str, str] | None = None,
) -> Changed:
    """Write down what somebody decided about a nutrient, or lime, of one or several plots.

    Parameters
    ----------
    path
        The property file.
    plots
        Which.
    supply
        A `Nutrient` value or ``"lime"``, in any case.
    value
        An amount (``"0"``, ``"40 lb/acre"``) or a share of the published rate (``"50 %"``, ``"published"``).
    because
        Why.
    today
        The date of the decision.
    by
        Who.
    any_crop
        True = whatever grows there; else for the crop that grows there now.
    answers
        Answers to what was asked before, by question id.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When a plot, the supply or the value is not understood, no reason is given, or nothing is published to
        take a share of; a question when the amount is far from what is printed. Nothing was changed.
    """
    names = {nutrient.value.casefold(): nutrient.value for nutrient in Nutrient} | {"lime": "lime"}
    problems = []
    if supply.strip().casefold() not in names:
        listed = ", ".join(names.values())
        problems.append(Problem("decide", f"{supply!r} is no nutrient", f"Use one of: {listed}."))
    if not because.strip():
        problems.append(Problem("decide", "no reason is given", "Say why with `because`."))
    if problems:
        raise InputError(problems)
    chosen = names[supply.strip().casefold()]
    kind, figure = needs.read_decision(value)
    command = f"decide {' '.join(plots)} {chosen} {value}"
    with changing(path, today, command, by) as editor:
        record = editor.record()
        croppings = work.current_croppings(record, today)
        doubts = _far_from_print(season.Season(record, today), plots, chosen, kind, figure, answers or {})
        if doubts:
            raise InputError(doubts)
        view = season.Season(record, today)
        made = []
        for name in plots:
            plot = files.find(files.thing_of("plot"), record, name)
            cropping = croppings.get(plot.plot_id)
            made.append(
                Decision(
                    decision_id=uuid.uuid4().hex[:12],
                    plot_id=plot.plot_id,
                    season=record.info.season,
                    supply=_about(view, plot.plot_id, chosen, kind),
                    reason=because.strip(),
                    decided_on=today,
                    made_by=by or record.info.settings.keeper,
                    crop="" if any_crop or cropping is None else cropping.crop,
                    **{kind: figure},
                )
            )
        editor.put_decisions(made)
    told = ", ".join(decision.plot_id for decision in made)
    return Changed(
        editor.change_id,
        f"Decided {chosen} on {told} for {record.info.season}: {value}.",
        tuple((f"decision {d.decision_id}", "—", f"{d.plot_id} {chosen} {value}") for d in made),
    )


def _about(view: season.Season, plot_id: str, supply: str, kind: str) -> str:
    """What a decision is about; an amount of lime is of the basis that is asked for."""
    basis = view.needs[plot_id].lime.basis if supply == "lime" and kind == "rate_kg_ha" else None
    return supply if basis is None else basis.supply


@dataclass(frozen=True, slots=True)
class SeasonStarted:
    """A new season, and what it starts with.

    Parameters
    ----------
    season, change_id
        Its name [calendar year]; number of the change.
    goes_on, to_decide
        Plot ids of stands that go on, and of ground whose crop is to be named.
    tests_due
        Plots to sample, with the reason.
    decide_again
        (plot, nutrient or lime, reason given) of last season's decisions.
    """

    season: int
    change_id: int
    goes_on: tuple[str, ...]
    to_decide: tuple[str, ...]
    tests_due: Mapping[str, str]
    decide_again: tuple[tuple[str, str, str], ...]


def start_next_season(
    path: Path, today: dt.date, by: str, answers: Mapping[str, str] | None = None
) -> SeasonStarted:
    """Start the next season: perennial stands go on, the rest is to decide, everything else is carried over.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests.
    by
        Who.
    answers
        Answers to what was asked before, by question id.

    Returns
    -------
    SeasonStarted

    Raises
    ------
    InputError
        A question, when the season at hand is of a year to come and another is hardly meant; nothing was
        changed.
    """
    with files.edit(path, "season next", by) as editor:
        before = editor.record()
        info = before.info
        asked, choices = f"season-{info.season + 1}", ("start it", "leave it")
        if info.season > today.year and (answers or {}).get(asked) != choices[0]:
            what = f"season {info.season} has been started already, and that year has not begun"
            fix = f"Is season {info.season + 1} meant to be started too?"
            raise InputError([Problem("season next", what, fix, question=asked, choices=choices)])
        plot_ids = [plot.plot_id for plot in before.plots]
        start = work.next_season(before.croppings, info.season, plot_ids)
        editor.put_croppings(start.croppings)
        editor.put_info(replace(info, season=info.season + 1))
        view = season.worked_out(editor.record(), today)
    due = {plot_id: plan.reason for plot_id, plan in view.sampling.items() if plan.due}
    decided = tuple((d.plot_id, d.supply, d.reason) for d in before.decisions if d.season == info.season)
    return SeasonStarted(start.season, editor.change_id, start.goes_on, start.to_decide, due, decided)


def backup(path: Path, folder: Path | None, today: dt.date) -> Path:
    """Make a dated, checked copy of a property file.

    Parameters
    ----------
    path
        The property file.
    folder
        Where; None = beside it.
    today
        Put into the name.

    Returns
    -------
    Path
        The copy.
    """
    return files.backup(path, folder or path.parent, today)


def take_over(path: Path, other: Path, uids: Sequence[str], today: dt.date, by: str) -> Changed:
    """Take chosen changes of another copy over, as changes of this one.

    Parameters
    ----------
    path, other
        This copy, the other one.
    uids
        The changes, by the first letters of their ids; ``"all"`` takes every one.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When there is no such change, or this copy is not as that one was; nothing was changed.
    """
    found = files.differences(path, other)
    listed = ", ".join(change.uid[:8] for change in found.only_there) or "none"
    wanted, problems = set(), []
    for uid in uids:
        named = [c.uid for c in found.only_there if uid == "all" or c.uid.startswith(uid.strip().casefold())]
        if not named or (uid != "all" and len(named) > 1):
            what = f"{uid!r} names {'several changes' if named else 'no change'} of the other copy"
            problems.append(Problem("differs", what, f"It has: {listed}."))
        wanted.update(named)
    if problems:
        raise InputError(problems)
    chosen = [change for change in found.only_there if change.uid in wanted]
    with files.take_over(path, chosen, by) as editor:
        season.worked_out(editor.record(), today)
    last = editor.change_id
    return Changed(
        last, f"Took over {len(chosen)} change{'' if len(chosen) == 1 else 's'} from {other.name}."
    )
