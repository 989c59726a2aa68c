"""Alternatives from end to end: models prepared once, measured and priced for each way to build, compared."""

import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from takeoff.compare_job import Choice
from takeoff.findings import Finding, InputError
from takeoff.pipeline import Prepared, Progress, Run, measure_prepared, prepare, with_bill
from takeoff.scored import scheme_of
from takeoff.settings import Settings
from takeoff.templates import template_path
from takeoff.told import counted, told

if TYPE_CHECKING:
    from takeoff.billing import Billing
    from takeoff.pricing.alternatives import Alternative, Alternatives
    from takeoff.pricing.comparison import Comparison, Variant
    from takeoff.pricing.cost_model import Priced
    from takeoff.pricing.rates import RateBook
    from takeoff.pricing.schemes import Scheme
    from takeoff.pricing.scoring import Score
    from takeoff.pricing.typed import TypedBill


def _silent(stage: str, done: int, total: int) -> None:
    del stage, done, total


class _Built(Struct, frozen=True, eq=False):
    """One way to build with all that is known of it."""

    variant: "Variant"
    priced: "Priced"
    run: Run


def compare(
    paths: Sequence[Path], settings: Settings, choice: Choice, progress: Progress = _silent
) -> "tuple[Comparison, Run]":
    """Compare the alternatives of a file; the second is the run of the base that they are compared to.

    Raises InputError for faults in the data files, in the models, and for changes that cannot be followed.
    """
    from takeoff.billing import load_billing
    from takeoff.pricing.alternatives import load_alternatives
    from takeoff.pricing.carbon import load_carbon
    from takeoff.pricing.comparison import Comparison, item_lines, totals_of
    from takeoff.pricing.cost_model import build_model
    from takeoff.pricing.money import exact_sum
    from takeoff.pricing.production import load_production
    from takeoff.pricing.risk import draw, judge
    from takeoff.pricing.sensitivity import break_evens, tornado

    file = load_alternatives(choice.alternatives)
    base = _place(file, choice.base)
    settings = replace(settings, arrange="trade")
    production_file = choice.production or template_path("production.toml")
    production = load_production(production_file)
    carbon = load_carbon(choice.carbon) if choice.carbon is not None else None
    scheme = scheme_of(settings)
    billing = load_billing(settings)
    ways: list[Alternative | None] = [None, *file.alternatives]
    ways.insert(0, ways.pop(base))
    books = [_rates(file, way, billing, settings) for way in ways]
    prepared = prepare(paths, settings, progress)
    # All changes are followed before anything is measured, so that a fault in the last one costs no time.
    stocks = [_prepared(prepared, file, way) for way in ways]
    built = []
    for way, stock, book in zip(ways, stocks, books, strict=True):
        progress(f"measuring {way.name if way else file.base}", 0, 0)
        built.append(_build(stock, file, way, billing, book, production))
    variants = tuple(one.variant for one in built)
    progress("comparing", 0, 0)
    began = time.perf_counter()
    differing, common = item_lines(variants, carbon)
    totals = totals_of(variants, common, differing, production, carbon is not None)
    model = build_model([one.priced for one in built], production, billing.markups, file.drivers, 0)
    draws, seed = choice.draws or file.draws, file.seed if choice.seed is None else choice.seed
    differences = [exact_sum((total.compared, -totals[0].compared)) for total in totals]
    risk = judge(model.totals(draw(model.parameters, draws, seed)), 0, draws, seed)
    wanted = tuple(dict.fromkeys((*choice.break_even, *file.break_even)))
    run = built[0].run
    extra = [("alternatives", choice.alternatives), ("production", production_file)]
    extra += [("carbon", choice.carbon)] if choice.carbon is not None else []
    extra += [
        (f"rates of {one.name}", choice.alternatives.parent / one.rates)
        for one in file.alternatives
        if one.rates
    ]
    seconds = {**run.record["seconds"], "comparing": time.perf_counter() - began}
    comparison = Comparison(
        variants,
        differing,
        len(common),
        totals,
        production,
        _storeys(run),
        model,
        risk,
        tornado(model),
        break_evens(model, differences, wanted, str(choice.alternatives)),
        _findings(variants),
        tuple(_basis(file, variants)),
        _record(run, extra, seconds),
        carbon is not None,
        tuple(_scores(variants, scheme)),
    )
    return comparison, run


def _scores(variants: "Sequence[Variant]", scheme: "Scheme | None") -> "list[Score]":
    """The score of each variant by a scheme, none without one."""
    if scheme is None:
        return []
    from takeoff.pricing.scoring import make_score

    return [make_score(variant.measurement, scheme, variant.bill) for variant in variants]


def bill_of(
    paths: Sequence[Path],
    settings: Settings,
    alternatives: Path,
    name: str,
    progress: Progress = _silent,
    earlier: "TypedBill | None" = None,
) -> Run:
    """The full bill of one alternative; what people typed into the `earlier` bill is taken over.

    Raises InputError as `compare` does.
    """
    from takeoff.billing import load_billing
    from takeoff.pricing.alternatives import load_alternatives

    file = load_alternatives(alternatives)
    way = file.find(name)
    billing = load_billing(settings)
    book = _rates(file, way, billing, settings)
    prepared = _prepared(prepare(paths, settings, progress), file, way)
    run = _measured(prepared, file, way, billing, book, progress, earlier)
    extra = [("alternatives", alternatives)]
    extra += [(f"rates of {way.name}", alternatives.parent / way.rates)] if way.rates else []
    record = _record(run, extra, run.record["seconds"])
    basis = [
        ("Alternative", f"{way.name}: {text}", str(alternatives))
        for text in (way.note, *_change_words(way))
        if text
    ]
    assert run.bill is not None
    title = f"{record['title']}: {way.name}"
    return replace(
        run,
        bill=replace(run.bill, basis=(*basis, *run.bill.basis)),
        record={**record, "title": title, "alternative": way.name},
    )


def _place(file: "Alternatives", name: str) -> int:
    """Place of the variant that the others are compared to."""
    if not name:
        return 0
    for place, known in enumerate(file.names):
        if known.casefold() == name.casefold():
            return place
    raise InputError(
        f"{file.file}: nothing is called '{name}'; the base may be one of {', '.join(file.names)}"
    )


def _rates(
    file: "Alternatives", way: "Alternative | None", billing: "Billing", settings: Settings
) -> "RateBook":
    """The rates of one way to build; those of the base are the bill's."""
    if way is None:
        return billing.rates
    from takeoff.pricing.own_rates import own_rates
    from takeoff.pricing.rates import load_rates
    from takeoff.pricing.resources import load_resources

    currency = billing.markups.currency
    resources = load_resources(settings.file("resources"), currency)
    return own_rates(file, way, billing.rates, lambda path: load_rates(path, resources, currency))


def _prepared(prepared: Prepared, file: "Alternatives", way: "Alternative | None") -> Prepared:
    """What is to be measured for one way to build; the base is as prepared."""
    if way is None:
        return prepared
    from takeoff.measuring.remaking import remake
    from takeoff.pricing.own_rates import own_allowances, own_panelling

    where = f"{Path(file.file).name}: alternative '{way.name}'"
    rules = prepared.rules
    stock = remake(prepared.stock, way.changes, where, rules.convention.contacts.joint_mm / 1e3)
    rules = replace(
        rules,
        allowances=own_allowances(file, way, rules.allowances),
        panelling=own_panelling(file, way, rules.panelling),
    )
    return replace(prepared, stock=stock, rules=rules)


def _measured(
    prepared: Prepared,
    file: "Alternatives",
    way: "Alternative | None",
    billing: "Billing",
    book: "RateBook",
    progress: Progress = _silent,
    earlier: "TypedBill | None" = None,
) -> Run:
    """A run measured and priced."""
    from takeoff.billing import storey_order
    from takeoff.pricing.own_rates import with_sources

    try:
        run = measure_prepared(prepared, progress)
    except InputError as fault:
        name = way.name if way else file.base
        raise InputError(f"{Path(file.file).name}: '{name}': {fault}") from fault
    began = time.perf_counter()
    bill = replace(billing, rates=book).price(run.measurement, storey_order(run.notes), earlier)
    return with_bill(run, with_sources(bill, book), prepared.settings, time.perf_counter() - began)


def _build(
    prepared: Prepared,
    file: "Alternatives",
    way: "Alternative | None",
    billing: "Billing",
    book: "RateBook",
    production: Any,
) -> _Built:
    from takeoff.pricing.comparison import Variant
    from takeoff.pricing.cost_model import Priced
    from takeoff.pricing.time import make_programme

    run = _measured(prepared, file, way, billing, book)
    assert run.bill is not None
    programme = make_programme(run.bill, production, _storeys(run))
    items = [item for section in run.bill.sections for item in section.items if item.rate is not None]
    found = {item.key: book.find(item.rate_key, item.unit) for item in items}
    rates = {key: rate for key, rate in found.items() if rate is not None}
    rules = [rule for section in billing.sections.sections for rule in section.items]
    steel = frozenset(
        item.key
        for item in items
        if any(rule.source == "reinforcement" and rule.makes(item.rate_key) for rule in rules)
    )
    variant = Variant(
        way.name if way else file.base,
        way.note if way else "the model as classified",
        _change_words(way) if way else (),
        run.measurement,
        run.bill,
        programme,
    )
    return _Built(variant, Priced(run.bill, rates, run.measurement, programme, steel), run)


def _change_words(way: "Alternative") -> tuple[str, ...]:
    words = []
    for change in way.changes:
        left = "".join(f", except {selection.words}" for selection in change.without)
        because = f" ({change.because})" if change.because else ""
        words.append(f"{change.select.words}{left}: {change.words}{because}")
    return tuple(words)


def _panelling_words(way: "Alternative") -> list[str]:
    return [
        f"pieces ({table}): "
        + ", ".join(f"{name.replace('_', ' ')} {value:g}" for name, value in entries.items())
        for table, entries in way.panelling.items()
    ]


def _storeys(run: Run) -> tuple[str, ...]:
    from takeoff.billing import storey_order

    return storey_order(run.notes)


def _findings(variants: "Sequence[Variant]") -> tuple[Finding, ...]:
    """What the alternatives have to look at that the first variant has not, each with the alternative's name."""
    first = {*variants[0].measurement.findings, *variants[0].bill.findings}
    # Findings on a model as a whole count and sum: with other figures they still say the same.
    kinds = {finding.kind for finding in first if not finding.global_id}
    return tuple(
        replace(finding, message=told("{}: {}", variant.name, finding.message))
        for variant in variants[1:]
        for finding in dict.fromkeys((*variant.measurement.findings, *variant.bill.findings))
        if finding not in first and (finding.global_id or finding.kind not in kinds)
    )


def _basis(file: "Alternatives", variants: "Sequence[Variant]") -> list[tuple[str, str, str]]:
    source = Path(file.file).name
    rows = []
    for way in file.alternatives:
        rows += [
            ("Alternative", f"{way.name}: {text}", source)
            for text in (way.note, *_change_words(way), *_panelling_words(way))
            if text
        ]
        rows += [
            ("Own rate", f"{way.name}: {own.item} {own.rate:g} per {own.unit}", own.source)
            for own in way.own_rates
        ]
        rows += [
            (
                "Own allowance",
                f"{way.name}: {own.method} {own.role} {own.low:g} to {own.high:g}, likely {own.likely:g} {own.unit}",
                own.source,
            )
            for own in way.allowances
        ]
    rows += [
        (
            "Prices that move together",
            f"{driver.name}: {', '.join(driver.items)}; correlation {driver.correlation:g}",
            source,
        )
        for driver in file.drivers
    ]
    untimed = sorted({key for variant in variants for key in variant.programme.untimed})
    if untimed:
        rows.append(
            (
                "Not in the time",
                f"{counted(len(untimed), 'item')} that no trade takes: {', '.join(untimed[:12])}",
                "production",
            )
        )
    return rows


def _record(run: Run, extra: Sequence[tuple[str, Path]], seconds: Any) -> dict[str, Any]:
    """The record of the base's run with the data files of the comparison."""
    import hashlib

    inputs = [
        {"what": what, "file": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
        for what, path in extra
    ]
    rounded = {stage: round(float(value), 3) for stage, value in seconds.items()}
    return {**run.record, "inputs": [*run.record["inputs"], *inputs], "seconds": rounded}
