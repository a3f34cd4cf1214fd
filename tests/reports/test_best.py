"""The athlete's best attempt beside the one looked at: the right one, laid so that the key windows start together."""

import numpy as np
import pytest

from pipeline.reports.best import aligned, best_readings, with_curves
from pipeline.reports.phase import to_phase
from pipeline.reports.plots import CurveData, curve_plot
from pipeline.reports.records import attempts_of
from pipeline.scoring.tolerances import load_tolerances
from pipeline.scoring.verdicts import score
from pipeline.store import Store
from tests.reports.test_site import Page


@pytest.fixture(scope="module")
def attempts(site):
    with Store(site / "data" / "matside.sqlite") as store:
        return attempts_of(store, score(store.readings("OT-01"), load_tolerances()), "OT-01")


def test_the_nearest_to_the_target_is_the_best(attempts):
    best = best_readings(attempts, load_tolerances())
    column = ("lunge", "hip_angle", "")
    told = [r for a in attempts for r in a.readings if r.column == column and np.isfinite(r.value) and r.verdict != "cannot tell"]
    assert len(told) > 1 and abs(best[column].reading.value - 180) == min(abs(r.value - 180) for r in told)
    contact = [r.value for a in attempts for r in a.readings if r.detail == "knee_contact_time" and r.verdict not in ("cannot tell", "")]
    assert not contact or best["backward_roll", "knee_contact_time", ""].reading.value == min(contact), "less is better"


def test_phases_are_laid_on_each_other():
    """By hand: a hold from 1 to 2 s laid on one from 5 to 7 s; half-way is half-way, and outside the hold a second is a second."""
    t = np.array([0.0, 1.0, 1.5, 2.0, 3.0])
    assert to_phase(t, (1.0, 2.0), (5.0, 7.0)).tolist() == [4.0, 5.0, 6.0, 7.0, 8.0]
    assert to_phase(to_phase(t, (1.0, 2.0), (5.0, 7.0)), (5.0, 7.0), (1.0, 2.0)).tolist() == t.tolist()
    assert to_phase(t, (1.0, 1.0), (5.0, 7.0)).tolist() == [4.0, 5.0, 5.5, 6.0, 7.0], "no window: start on start"


def test_its_curve_has_its_key_window_where_the_others_is(site, attempts):
    with Store(site / "data" / "matside.sqlite") as store:
        best = with_curves(store, best_readings(attempts, load_tolerances()))["shoulder_stand", "hip_angle", ""]
        own = next(c for c in store.curves(best.reading.link) if c.detail == "hip_angle")
    long = best.window[1] - best.window[0]
    moved = aligned(best, (10.0, 10.0 + long))
    assert np.allclose(moved.t - own.t, 10.0 - best.window[0]) and np.array_equal(moved.value, own.value, equal_nan=True)
    stretched = aligned(best, (10.0, 10.0 + 2 * long))
    assert np.interp(best.window[1], own.t, stretched.t) == pytest.approx(10.0 + 2 * long, abs=0.04)


def test_it_is_drawn_only_where_this_attempt_reaches():
    t = np.linspace(0, 2, 21)
    one, other = (CurveData(time, np.full(21, 170.0), np.full(21, 165.0), np.full(21, 175.0)) for time in (t, t + 1))
    words = {
        "window": (0.5, 1.5),
        "window_words": "hold",
        "at_s": 1.0,
        "value": 170.0,
        "verdict": "met",
        "seconds_words": "s",
        "label": "x",
    }
    svg = curve_plot(one, "deg", None, **words, beside=other)
    line = svg.split('<g class="beside">')[1].split('d="M')[1].split('"')[0]
    start, steps = int(line.split(" ")[0]), np.array(line.split("l")[1].split(), int)[::2]
    assert start == 10 * (46 + 584 / 2) and start + steps.sum() == 10 * 630, "from the middle of the plot, 1 s, to its end, 2 s"
    assert "beside" not in curve_plot(one, "deg", None, **words)


def test_the_page_says_which_it_is_and_leads_there(site):
    page = Page(site / "athletes" / "OT-01.html")
    assert "nearest to what is wanted: " in page.words
    assert all(link[1:] in page.ids for link in page.links if link.startswith("#"))
