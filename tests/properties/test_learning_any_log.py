"""Whatever a log holds, what is learnt beside the fit is found without an exception and said without loose ends."""

from __future__ import annotations

import re

from hypothesis import given, settings
from test_chain_any_log import SETTINGS, series_and_log

from meltdoe.fit.learning import learning
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Log
from meltdoe.report.learning_sentences import learning_passages
from meltdoe.series import MeltSeries


@settings(SETTINGS, max_examples=5)
@given(series_and_log())
def test_any_log_can_be_learnt_from(case: tuple[MeltSeries, Log]) -> None:
    series, log = case
    chain = fit_chain(series, log, n_draws=800)
    found = learning(chain)
    for passage in learning_passages(chain, found):
        text = "\n".join(passage.sentences)
        assert not re.search(r"\bnan\b|\binf\b|None|unknown", text), text
        assert all(line[0].isupper() and line[-1] in ".:" for line in passage.sentences), text
    if found.influence is not None:
        assert {one.melt for one in found.influence.melts} == {m for stage in chain.stages for m in stage.data.melts}
        assert all(0 <= one.chance <= 1 + 1e-9 for one in found.influence.seen)
        assert all(0 <= one.chance_at_present_best <= one.best.chance + 1e-12 for one in found.influence.melts)
