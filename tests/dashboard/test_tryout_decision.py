"""What the browser says costs least, and whether the recommendation moves, is what the library decides: at any price, ceiling and target."""

import functools
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import dashboard
from dashboard.pages.room.context import Here
from dashboard.pages.room.sections.tryout import try_data
from dashboard.serve import demo_folder
from dashboard.store import FixedStore
from tests.dashboard import synthetic
from tuning.decision import choose
from tuning.logs import read_logs
from tuning.pipeline import analyse_logs
from tuning.results import Settings, Terms
from tuning.schemas import DRAWS
from tuning.site import read_site

pytestmark = pytest.mark.browser
SCRIPT = Path(dashboard.__file__).parent / "assets" / "decide.js"


@pytest.fixture(scope="module")
def decide(browser):
    """The browser's decision: index of the cheapest, index recommended, and what to do, as the library names it."""
    page = browser.new_page()
    page.add_script_tag(path=str(SCRIPT))

    def asked(*questions):
        """Answers to many questions at once, each what a page was given, a price of a false-off and one of energy."""
        # As text, as a page is given them: the driver would wrap every number.
        told = "all => JSON.parse(all).map(([g, c, p]) => window.holdoff.decide(g, c, p))"
        return page.evaluate(told, json.dumps(questions))

    yield asked
    page.close()


BASE = synthetic.channel()


def random_channel(rng):
    """A channel with resamples of all kinds: few draws and many, sure and unsure, with and without ceiling, floor and setting in force."""
    n, draws = len(synthetic.HOLDS), int(rng.integers(2, 60))
    hold = np.array(synthetic.HOLDS, dtype=float)
    spread = rng.choice([0.02, 0.2, 0.8])
    false = rng.uniform(5, 300) * (60 / hold) ** rng.uniform(0.5, 2.5) * rng.lognormal(0, spread, (draws, n))
    wasted = rng.uniform(0.05, 2) * (hold / 60) ** rng.uniform(0.3, 1) * rng.lognormal(0, spread / 3, (draws, n))
    current = None if rng.random() < 0.15 else int(rng.integers(n))
    allowed = rng.random(n) < 0.8
    allowed[int(rng.integers(n))] = True
    terms = Terms(
        in_force_s=None if current is None else float(hold[current] * rng.uniform(0.99, 1.01)),
        ceiling=float(rng.choice([0.5, 3, 20])) if rng.random() < 0.5 else None,
        visit_cost=float(rng.choice([0, 1, 30])),
        motions=int(rng.choice([50, 5000])) if rng.random() < 0.2 else 5000,
        blocked=bool(rng.random() < 0.1),
        reach_s=float(rng.choice(hold)) if rng.random() < 0.3 else None,
        due=bool(rng.random() < 0.3),
    )
    frame = pl.DataFrame(
        {
            "hold_off_s": hold,
            **{name: false.T.tolist() for name in ("false_offs", "false_offs_wide")},
            **{name: wasted.T.tolist() for name in ("wasted_kwh", "wasted_kwh_wide")},
        },
        schema=DRAWS,
    )
    base = BASE
    return replace(
        base,
        usable_days=float(rng.choice([2, 5, 42])) if rng.random() < 0.3 else 42.0,
        current=Settings(None if current is None else float(hold[current]), base.current.target_lx, "auto-on"),
        delay_curve=tuple(replace(p, allowed=bool(a)) for p, a in zip(base.delay_curve, allowed, strict=True)),
        draws=frame,
        terms=terms,
        cost_per_false_off=float(rng.uniform(0.02, 2)) if rng.random() < 0.5 else None,
    )


def chosen_by_the_library(c, *, per_false_off, price):
    false, wasted = (np.array(c.draws[name].to_list()).T for name in ("false_offs", "wasted_kwh"))
    hold = c.draws["hold_off_s"].to_numpy()
    current = None if c.current.hold_off_s is None else int(np.flatnonzero(hold == c.current.hold_off_s)[0])
    choice = choose(
        false * per_false_off + wasted * price,
        false,
        hold,
        allowed=np.array([p.allowed for p in c.delay_curve]),
        current=current,
        in_force_s=np.inf if c.terms.in_force_s is None else c.terms.in_force_s,
        reach_s=np.inf if c.terms.reach_s is None else c.terms.reach_s,
        ceiling=c.terms.ceiling,
        visit_cost=c.terms.visit_cost,
        due=c.terms.due,
        usable_days=c.usable_days,
        motions=c.terms.motions,
    )
    if c.terms.blocked:
        choice = replace(choice, index=choice.index if current is None else current, decision="fix-first")
    return {"best": choice.best, "index": choice.index, "decision": choice.decision}


def test_over_many_channels_browser_and_library_decide_alike(decide, analysis):
    rng = np.random.default_rng(8)
    seen = set()
    for _ in range(400):
        c = random_channel(rng)
        given = try_data(Here(FixedStore(analysis), analysis, c))
        own = c.cost_per_false_off
        assert given["perFalseOff"] == (analysis.cost_per_false_off if own is None else own)
        questions, answers = [], []
        for factor in (1.0, float(rng.choice([0.1, 0.5, 3, 20]))):
            per_false_off, price = given["perFalseOff"] * factor, float(rng.uniform(0.05, 0.6))
            expected = chosen_by_the_library(c, per_false_off=per_false_off, price=price)
            questions.append([given, per_false_off, price])
            answers.append(expected)
            seen.add((expected["decision"], c.terms.ceiling is not None, expected["best"] == expected["index"]))
        assert decide(*questions) == answers
    assert {decision for decision, *_ in seen} == {"change", "keep", "trial", "more-data", "fix-first"}
    assert len(seen) >= 12


@pytest.fixture(scope="module")
def at():
    """The demo analysed at other prices, each analysis made once."""
    site = read_site(demo_folder())
    logs = read_logs(demo_folder(), site)
    return functools.cache(lambda **prices: analyse_logs(at_prices(site, **prices), logs))


def at_prices(site, *, nuisance=1.0, energy=1.0, ceiling=None):
    """The site with all prices of false-offs and of energy multiplied."""
    rooms = {}
    for name, room in site.rooms.items():
        channels = {
            n: ch.model_copy(update={"cost_per_false_off": None if own is None else own * nuisance})
            for n, ch in room.channels.items()
            for own in [ch.cost_per_false_off]
        }
        rooms[name] = room.model_copy(update={"channels": channels})
    building = site.site.model_copy(
        update={
            "cost_per_false_off": site.site.cost_per_false_off * nuisance,
            "electricity_price": site.site.electricity_price * energy,
            "max_false_offs_per_week": ceiling,
        }
    )
    return site.model_copy(update={"site": building, "rooms": rooms})


@pytest.mark.timeout(900)
@pytest.mark.parametrize("ceiling", [None, 2.0])
def test_what_the_browser_foretells_of_other_prices_is_what_an_analysis_at_those_prices_recommends(decide, at, ceiling):
    now = at(ceiling=ceiling)
    for nuisance, energy in ((1.0, 1.0), (0.1, 1.0), (1.0, 6.0)):
        then = now if nuisance == energy == 1 else at(nuisance=nuisance, energy=energy, ceiling=ceiling)
        for c, other in zip(now.channels, then.channels, strict=True):
            given = try_data(Here(FixedStore(now), now, c))
            if given is None:
                continue
            (said,) = decide([given, given["perFalseOff"] * nuisance, given["price"] * energy])
            assert given["points"][said["index"]]["s"] == pytest.approx(other.recommended.hold_off_s), other.room
            assert other.recommended.target_lx == c.recommended.target_lx


def test_the_rates_sent_of_the_recommended_pair_are_those_recommended(at):
    analysis = at(ceiling=None)
    moved = 0
    for c in analysis.channels:
        given = try_data(Here(FixedStore(analysis), analysis, c))
        at = next((t for t in given["targets"] if t["lx"] == given["newLx"]), None) if given else None
        if at is None:
            continue
        moved += given["newLx"] != given["nowLx"]
        sent, rates = {k: at[k][given["new"]] for k in ("false", "waste", "wastedKwh", "kwh")}, c.recommended_rates
        assert sent["false"] == pytest.approx(rates.false_offs, rel=1e-4, abs=1e-6)
        assert sent["waste"] == pytest.approx(rates.wasted_on_h, rel=1e-4)
        assert sent["kwh"] == pytest.approx(rates.energy_kwh, rel=2e-3)
        cost = sent["false"] * given["perFalseOff"] + sent["wastedKwh"] * given["price"]
        assert cost == pytest.approx(rates.cost, rel=1e-4)
        if c.current_rates is not None:
            base = next(t for t in given["targets"] if t["lx"] == given["nowLx"])
            used = [t["kwh"][given["new"]] - t["wastedKwh"][given["new"]] for t in (base, at)]
            was = base["false"][given["now"]] * given["perFalseOff"] + base["wastedKwh"][given["now"]] * given["price"]
            assert was - cost + (used[0] - used[1]) * given["price"] == pytest.approx(
                c.worth_per_week, rel=0.02, abs=0.01
            )
    assert moved
