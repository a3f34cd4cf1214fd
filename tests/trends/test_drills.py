import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from pipeline.trends.drills import drill_effects
from pipeline.trends.precision import learn
from pipeline.trends.sessions import sessions
from tests.trends.making import START, sessions_of


def judged(added, per_week=0.0, athletes=6):
    rng = np.random.default_rng(21)
    rows = []
    for cohort, step in (("Otters", added), ("Herons", 0.0), ("Curlews", 0.0)):
        for k in range(athletes):
            own = sessions_of(150 + rng.normal(0, 5), rng=rng, athlete=f"{cohort}{k}", cohort=cohort, per_week=per_week)
            late = own["date"] >= (START + pd.Timedelta(days=42)).isoformat()[:10]
            rows.append(own.assign(**{c: own[c] + step * late for c in ("value", "low", "high")}))
    table = sessions(pd.concat(rows))
    return learn(table).judge(table)


def starts(*cohorts):
    day = (START + pd.Timedelta(days=42)).isoformat()[:10]
    return pd.DataFrame({"drill": "slides", "cohort": list(cohorts), "date": day})


def test_what_a_drill_adds_is_found_beyond_what_everyone_gained():
    (effect,) = drill_effects(judged(8.0, per_week=1.0), starts("Otters"))
    assert effect.sure and effect.low < 8.0 < effect.high
    assert_allclose(effect.others, 4.0, atol=1.5)  # four weeks' gain
    assert effect.earlier_low < 0 < effect.earlier_high


def test_where_everyone_gains_alike_nothing_is_said():
    (effect,) = drill_effects(judged(0.0, per_week=2.0), starts("Otters"))
    assert not effect.sure and "Not more than the others" in effect.why


def test_cohorts_with_the_drill_are_no_comparison():
    effects = drill_effects(judged(8.0), starts("Otters", "Herons", "Curlews"))
    assert all(not e.sure and "Too few" in e.why for e in effects)


def test_too_few_athletes_are_said_to_be_too_few():
    (effect,) = drill_effects(judged(8.0, athletes=2), starts("Otters"))
    assert np.isnan(effect.more) and "5 each are needed" in effect.why
