"""What else called where calls were kept."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import numpy as np
import pytest

from calltag.learn.call_types.teach import teach
from calltag.library.catalogue.catalogue import NAME, Catalogue
from calltag.library.catalogue.schema import MIGRATIONS
from calltag.library.company import MOST_OF_TAKE, company, note_company
from calltag.library.lessons import LabelledTake, lessons
from calltag.library.rebuild import rebuild
from calltag.records.found import TakeLog
from calltag.records.label import Label
from calltag.records.span import Span
from calltag.sound.features import FEATURE_VERSION

from .conftest import Shot, call, features, shoot, wanted


def logged(shot: Shot, *calls) -> TakeLog:
    return TakeLog(take=shot.take, calls=calls)


def spans(catalogue: Catalogue, **options) -> list[Span]:
    return [sound.span for sound in company(catalogue, options.pop("learnt", {}), **options)]


def test_other_finds_of_a_take_are_noted_when_calls_of_it_are_kept(keep, shot, catalogue, tmp_path):
    other = shoot(tmp_path / "rushes", "card1/A002.wav", seed=2)
    kept = wanted(shot, call(1.0))
    keep(kept)
    finds = (
        call(1.1),  # the same call, as far as it goes
        call(3.0),
        call(4.0, label="call"),
        call(5.0, call_probability=0.3),
        call(6.0, label="machine"),
        call(6.5, features=None),
    )
    note_company(catalogue, [logged(shot, *finds), logged(other, call(2.0))], [kept])
    assert spans(catalogue) == [Span(3.0, 3.5), Span(4.0, 4.5)]
    (first, _) = company(catalogue, {})
    assert first.take == shot.take.digest
    assert first.features == pytest.approx(features(300))


def test_what_is_known_of_a_take_is_what_was_found_last(keep, shot, catalogue):
    kept = wanted(shot, call(1.0))
    keep(kept)
    note_company(catalogue, [logged(shot, call(3.0), call(4.0))], [kept])
    note_company(catalogue, [logged(shot, call(3.1))], [kept])
    assert spans(catalogue) == [Span(3.1, 3.6)]


def test_what_was_kept_of_a_copy_is_no_company(keep, shot, catalogue):
    copy = Shot(replace(shot.take, path="backup/A001.wav"), shot.samples)
    kept = [wanted(shot, call(1.0)), wanted(copy, call(3.0))]
    keep(kept[0])
    calls = (call(1.0), call(3.0), call(5.0))
    note_company(catalogue, [logged(shot, *calls), logged(copy, *calls)], kept)
    assert spans(catalogue) == [Span(5.0, 5.5)]


def test_of_a_busy_take_some_finds_are_noted_spread_over_it(keep, shot, catalogue):
    kept = wanted(shot, call(0.0))
    keep(kept)
    many = [call(1.0 + i) for i in range(5 * MOST_OF_TAKE)]
    note_company(catalogue, [logged(shot, *many)], [kept])
    starts_s = [span.start_s for span in spans(catalogue)]
    assert len(starts_s) == MOST_OF_TAKE
    assert (starts_s[0], starts_s[-1]) == (1.0, 5.0 * MOST_OF_TAKE)
    assert max(np.diff(starts_s)) <= 6


def test_what_is_learnt_from_is_no_company(keep, shot, catalogue):
    """A find that was kept later is an example."""
    kept = [wanted(shot, call(at_s)) for at_s in (1.0, 3.0)]
    keep(*kept)
    note_company(catalogue, [logged(shot, call(3.0), call(5.0))], kept[:1])
    assert len(spans(catalogue)) == 2
    assert [sound.span for sound in lessons(catalogue).company] == [Span(5.0, 5.5)]


def test_a_take_that_is_labelled_in_the_log_is_left_to_the_log(keep, shot, catalogue):
    kept = wanted(shot, call(1.0))
    keep(kept)
    note_company(catalogue, [logged(shot, call(5.0))], [kept])
    for labels, n in (((), 1), ((Label(take="a", start_s=5, end_s=6, label="wind"),), 0)):
        takes = {shot.take.digest: LabelledTake("a", labels)}
        assert len(lessons(catalogue, takes=takes).company) == n


def test_measurements_of_another_version_and_of_takes_without_cuts_are_not_used(
    keep, shot, catalogue
):
    kept = wanted(shot, call(1.0), feature_version=FEATURE_VERSION + 1)
    (cut,) = keep(kept)
    note_company(catalogue, [logged(shot, call(5.0))], [kept])
    assert spans(catalogue) == []
    note_company(catalogue, [logged(shot, call(5.0))], [wanted(shot, call(1.0))])
    assert len(spans(catalogue)) == 1
    catalogue.remove([cut.path])
    assert spans(catalogue) == []


def test_a_rebuild_keeps_it(keep, shot, catalogue):
    kept = wanted(shot, call(1.0))
    keep(kept)
    note_company(catalogue, [logged(shot, call(5.0))], [kept])
    rebuild(catalogue.folder)
    assert len(spans(catalogue)) == 1


def test_a_catalogue_of_before_opens_without_any(tmp_path):
    with Catalogue(tmp_path, create=True):
        pass
    with sqlite3.connect(tmp_path / NAME) as before:
        before.execute("DROP TABLE company")
        before.execute(f"PRAGMA user_version = {len(MIGRATIONS) - 1}")
    before.close()
    with Catalogue(tmp_path) as opened:
        assert opened.company(FEATURE_VERSION) == []


def test_with_company_the_library_tells_what_nobody_taught(keep, shot, catalogue):
    """What else calls is nearer to what else calls than to what was taught."""
    rng = np.random.default_rng(5)
    centres = rng.normal(0, 0.6, (3, len(features(0))))

    def calls(kind: int, at_s: float, label: str):
        return call(
            at_s, label=label, features=(centres[kind] + rng.normal(0, 0.4, centres.shape[1]))
        )

    types = ("marsh hooter: boom", "pit rail: rasp")
    kept = [wanted(shot, calls(i % 2, 0.6 * i, types[i % 2]), model=None) for i in range(10)]
    keep(*kept)
    strange = [calls(2, 20.0 + i, "call") for i in range(12)]
    note_company(catalogue, [logged(shot, *strange)], kept)
    learnt = lessons(catalogue)
    assert len(learnt.company) == 12
    heard = np.stack([calls(2, 0.0, "call").features for _ in range(20)])
    alone, beside = (
        teach(learnt.examples, company=others).tagger for others in ((), learnt.company)
    )
    assert beside.panel.everything.kin is not None
    assert len(beside.panel.everything.kin.company) == 12
    sure = [tagger.verdict(heard).sure.mean() for tagger in (alone, beside)]
    assert sure[1] < sure[0]
