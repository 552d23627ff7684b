from __future__ import annotations

import threading
from collections import Counter
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from calltag.errors import InputError, LogError, MediaError
from calltag.learn.call_types.trust import Verdict
from calltag.learn.labels.by_hand import with_labels
from calltag.log import Log
from calltag.pages.listening import sounds as sounds_module
from calltag.pages.listening.heard import Numbers
from calltag.pages.listening.order import Order, Show
from calltag.pages.listening.session import Session
from calltag.pages.listening.sounds import sounds_of
from calltag.pages.shown_files import take_file
from calltag.records.label import CALL, Label
from calltag.records.span import Span
from calltag.sound.features import FEATURE_VERSION


@pytest.fixture
def session(log_path: Path) -> Session:
    return Session(log_path)


def labels(session: Session) -> list[tuple[str, float, float, str]]:
    with Log(session.log_path) as log:
        return [(one.take, one.start_s, one.end_s, one.label) for one in log.labels()]


def test_an_answer_is_in_the_log_at_once_and_can_be_taken_back(session) -> None:
    number = session.numbers(Order.USEFUL, Show.OPEN)[0]
    heard, known = session.heard(number), session.sounds.known
    saved = session.answer(number, " Marsh  hooter: boom ", heard.call.span)
    assert saved.label == "Marsh hooter: boom"
    assert labels(session) == [(heard.take.path, *heard.call.span, "Marsh hooter: boom")]
    assert session.heard(number).label.label == "Marsh hooter: boom"
    assert session.sounds.known == [*known, "Marsh hooter: boom"]
    assert number not in session.numbers(Order.USEFUL, Show.OPEN)
    assert session.numbers(Order.TAKE, Show.LABELLED) == [number]
    session.undo(saved.answer)
    assert labels(session) == []
    assert session.sounds.known == known
    assert number in session.numbers(Order.USEFUL, Show.OPEN)
    with pytest.raises(InputError, match="nothing more to undo"):
        session.undo(saved.answer)


def test_a_sound_that_passes_the_end_of_its_take_can_be_answered_for(session) -> None:
    """Logs of before hold such finds: the label ends where the take does."""
    number = session.numbers(Order.TAKE, Show.ALL)[0]
    heard = session.heard(number)
    end_s = heard.take.duration_s
    session.answer(number, "pit rail: rasp", Span(heard.call.start_s, end_s + 0.02))
    assert labels(session) == [(heard.take.path, heard.call.start_s, end_s, "pit rail: rasp")]
    with pytest.raises(InputError, match="no stretch of a take"):
        session.answer(number, "wind", Span(heard.call.start_s, end_s + 0.2))


def test_a_second_answer_stands_for_the_first_and_undo_gives_it_back(session) -> None:
    number = session.numbers(Order.TAKE, Show.ALL)[0]
    span = session.heard(number).call.span
    session.answer(number, "pit rail: rasp", span)
    moved = Span(span.start_s + 0.01, span.end_s + 0.1)
    second = session.answer(number, "wind", moved)
    path = session.heard(number).take.path
    assert labels(session) == [(path, *moved, "wind")]
    session.undo(second.answer)
    assert labels(session) == [(path, *span, "pit rail: rasp")]


def test_a_loose_label_of_several_sounds_is_taken_apart(session) -> None:
    """The others keep what was said of them, the answered one does not."""
    take = session.heard(session.numbers(Order.TAKE, Show.ALL)[0]).take
    own = [one for one in session.sounds.by_number.values() if one.take == take]
    first, second = own[:2]
    loose = Label(
        take=take.path,
        start_s=first.call.start_s,
        end_s=second.call.end_s,
        label="marsh hooter: boom",
        group="hide",
    )
    with Log(session.log_path) as log:
        log.change_labels(put=[loose])
    saved = session.answer(second.number, "no call", second.call.span)
    with Log(session.log_path) as log:
        stored = log.labels()
        seen = with_labels(log.take_log(take.path), stored)
    assert stored == [
        replace(loose, end_s=first.call.end_s),
        replace(loose, start_s=second.call.start_s, label="no call"),
    ]
    assert second.call.span not in [call.span for call in seen.calls]
    session.undo(saved.answer)
    with Log(session.log_path) as log:
        assert log.labels() == [loose]
    # one of the two is changed elsewhere: both stay as they are
    saved = session.answer(second.number, "no call", second.call.span)
    Session(session.log_path).answer(first.number, "water", first.call.span)
    with pytest.raises(InputError, match="changed again meanwhile"):
        session.undo(saved.answer)
    assert [label for *_, label in labels(session)] == ["water", "no call"]


def test_a_label_of_another_sitting_can_be_taken_away_and_given_back(session) -> None:
    number = session.numbers(Order.TAKE, Show.ALL)[0]
    session.answer(number, "pit rail: rasp", session.heard(number).call.span)
    (before,) = labels(session)
    later = Session(session.log_path)
    (number,) = later.numbers(Order.TAKE, Show.LABELLED)
    given = later.take_away(number)
    assert labels(later) == []
    assert later.heard(number).label is None
    assert number in later.numbers(Order.TAKE, Show.OPEN)
    with pytest.raises(InputError, match="no label to take away"):
        later.take_away(number)
    later.undo(given)
    assert labels(later) == [before]
    assert later.heard(number).label.label == "pit rail: rasp"


def test_a_label_of_several_sounds_is_taken_away_from_one(session) -> None:
    take = session.heard(session.numbers(Order.TAKE, Show.ALL)[0]).take
    own = [one for one in session.sounds.by_number.values() if one.take == take]
    first, second = own[:2]
    ends = {"start_s": first.call.start_s, "end_s": second.call.end_s}
    with Log(session.log_path) as log:
        log.change_labels(put=[Label(take=take.path, label="marsh hooter: boom", **ends)])
    session.reload()
    session.take_away(second.number)
    assert labels(session) == [(take.path, *first.call.span, "marsh hooter: boom")]
    assert session.heard(second.number).label is None
    assert session.heard(first.number).label.label == "marsh hooter: boom"


def test_a_label_of_what_was_not_found_is_taken_away_with_its_measurements(session) -> None:
    """As those of a table; the sound stays in view, and has its label again after an undo."""
    whole = next(iter(session.sounds.by_number.values())).take
    span = Span(0.0, whole.duration_s)
    label = Label(take=whole.path, start_s=0.0, end_s=whole.duration_s, label="pit rail: rasp")
    measured = replace(session.heard(1).call, start_s=0.0, end_s=whole.duration_s)
    with Log(session.log_path) as log:
        log.change_labels(put=[label])
        log.put_measured([(label, measured)])
    session.reload()
    (number,) = (one.number for one in session.sounds.by_number.values() if one.call.span == span)
    given = session.take_away(number)
    assert labels(session) == [], "nothing in the take keeps what was said of all of it"
    assert session.heard(number).label is None
    session.undo(given)
    assert session.heard(number).label == label
    session.take_away(number)
    session.reload()
    with pytest.raises(InputError, match="no sound"):
        session.heard(number)


def test_a_sound_under_a_loose_label_has_its_own_ends_on_the_card(session) -> None:
    """Else its answer would cover the others, too."""
    take = session.heard(session.numbers(Order.TAKE, Show.ALL)[0]).take
    own = [one for one in session.sounds.by_number.values() if one.take == take]
    first, second = own[:2]
    ends = {"start_s": first.call.start_s, "end_s": second.call.end_s}
    with Log(session.log_path) as log:
        log.change_labels(put=[Label(take=take.path, label="marsh hooter: boom", **ends)])
    session.reload()
    first, second = (session.heard(one.number) for one in (first, second))
    assert first.label == second.label
    assert session.shares_label(first)
    saved = session.answer(second.number, "no call", second.call.span)
    assert session.heard(first.number).label.label == "marsh hooter: boom"
    assert not session.shares_label(session.heard(second.number))
    assert saved.label == "no call"


def test_what_was_changed_elsewhere_meanwhile_is_left(session) -> None:
    number = session.numbers(Order.TAKE, Show.ALL)[0]
    span = session.heard(number).call.span
    here, there = session, Session(session.log_path)
    saved = here.answer(number, "wind", span)
    there.answer(number, "water", span)
    with pytest.raises(InputError, match="changed again meanwhile"):
        here.undo(saved.answer)
    assert [label for *_, label in labels(session)] == ["water"]


@pytest.mark.parametrize("text", ["", "   ", "call", "x" * 81, "wind/", "river/ice", "a\x07b"])
def test_no_label_is_stored_that_is_none(session, text) -> None:
    number = session.numbers(Order.TAKE, Show.ALL)[0]
    with pytest.raises(InputError):
        session.answer(number, text, session.heard(number).call.span)
    assert labels(session) == []


def test_numbers_stay_when_all_is_read_again(session) -> None:
    before = {n: (one.take.path, one.call.span) for n, one in session.sounds.by_number.items()}
    first = session.numbers(Order.USEFUL, Show.OPEN)[0]
    session.answer(first, "wind", session.heard(first).call.span)
    session.reload()
    assert before == {
        n: (one.take.path, one.call.span) for n, one in session.sounds.by_number.items()
    }


def test_an_answer_while_all_is_read_again_is_not_forgotten(session, monkeypatch) -> None:
    read, answered = threading.Event(), threading.Event()

    def slowly(*arguments, **options):
        sounds = sounds_of(*arguments, **options)
        read.set()
        answered.wait(0.3)
        return sounds

    monkeypatch.setattr("calltag.pages.listening.session.sounds_of", slowly)
    number = session.numbers(Order.USEFUL, Show.OPEN)[0]
    span = session.heard(number).call.span
    reading = threading.Thread(target=session.reload)
    reading.start()
    assert read.wait(10)
    session.answer(number, "wind", span)
    answered.set()
    reading.join()
    assert session.heard(number).label.label == "wind"


def test_every_order_holds_every_sound_once(session) -> None:
    everything = sorted(session.sounds.by_number)
    assert len(everything) > 20
    for order in Order:
        assert sorted(session.numbers(order, Show.ALL)) == everything
    by_take = [session.heard(n) for n in session.numbers(Order.TAKE, Show.ALL)]
    assert by_take == sorted(by_take, key=lambda one: (one.take.path, one.call.span))


def test_a_sound_says_what_it_was_named_and_the_surest_of_a_type_comes_first(session) -> None:
    with Log(session.log_path) as log:
        one = next(each for each in log.take_logs(features=True) if len(each.calls) > 2)
        named = [
            replace(call, label=label, confidence=confidence, call_probability=0.7)
            for call, (label, confidence) in zip(
                one.calls, [("pit rail", 0.6), (CALL, 0.5), ("pit rail", 0.9)], strict=False
            )
        ]
        log.put(replace(one, calls=tuple(named)), feature_version=FEATURE_VERSION)
    session = Session(
        session.log_path, choose=lambda logs: [x for x in logs if x.take.path == one.take.path]
    )
    heard = {order: [session.heard(n) for n in session.numbers(order, Show.ALL)] for order in Order}
    said = [(each.guess, each.confidence) for each in heard[Order.TAKE]]
    assert said == [("pit rail", 0.6), ("", 0.7), ("pit rail", 0.9)]
    assert [each.confidence for each in heard[Order.TYPE] if each.guess] == [0.9, 0.6]


def test_a_log_that_is_written_to_is_told_and_waited_for(session, monkeypatch) -> None:
    monkeypatch.setattr("calltag.pages.listening.session._BUSY_TIMEOUT_S", 0.3)
    number = session.numbers(Order.TAKE, Show.ALL)[0]
    span = session.heard(number).call.span
    busy = pytest.raises(LogError, match="another program is writing to this log")
    with Log(session.log_path) as other, other._writing(), busy:
        session.answer(number, "wind", span)
    session.answer(number, "wind", span)
    assert len(labels(session)) == 1


def test_a_take_that_was_renamed_meanwhile_is_told_of(session) -> None:
    number = session.numbers(Order.TAKE, Show.ALL)[0]
    heard = session.heard(number)
    with Log(session.log_path) as log:
        log.move({heard.take.path: (heard.take.rushes, "renamed.MP4")})
    with pytest.raises(InputError, match=r"renamed; load the page again"):
        session.answer(number, "wind", heard.call.span)
    session.reload()
    again = session.numbers(Order.TAKE, Show.ALL)
    renamed = next(one for one in again if session.heard(one).take.path == "renamed.MP4")
    session.answer(renamed, "wind", session.heard(renamed).call.span)
    assert [label[0] for label in labels(session)] == ["renamed.MP4"]


def test_many_answers_at_once_are_all_kept(session) -> None:
    numbers = session.numbers(Order.TAKE, Show.ALL)[:12]

    def answer(number: int) -> None:
        session.answer(number, "pit rail: rasp", session.heard(number).call.span)

    threads = [threading.Thread(target=answer, args=(number,)) for number in numbers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(labels(session)) == len(numbers)
    assert session.sounds.n_labels == len(numbers)


@pytest.mark.parametrize("path", ["../secret.wav", "/etc/passwd", "card/../../secret.wav", ".", ""])
def test_no_log_leads_out_of_its_rushes(session, path) -> None:
    take = replace(next(iter(session.sounds.by_number.values())).take, path=path)
    with pytest.raises(MediaError, match="lies outside"):
        take_file(take)


@pytest.mark.parametrize("rushes", [None, "/another folder"])
def test_a_sound_is_played_from_a_copy_where_its_take_is_away(log_path, rushes) -> None:
    with Log(log_path) as log:
        there = next(each for each in log.take_logs(features=True) if each.calls)
        elsewhere = rushes or there.take.rushes
        take = replace(there.take, path="first card/away.MP4", rushes=elsewhere)
        away = replace(there, take=take)
        log.put(away, feature_version=FEATURE_VERSION)
    alone = Session(
        log_path, choose=lambda logs: [one for one in logs if one.take.path == take.path]
    )
    sound = next(iter(alone.sounds.by_number.values()))
    assert sound.take.path == away.take.path
    assert sound.file == there.take.file
    assert sound.file.is_file()


def test_takes_may_be_chosen(log_path) -> None:
    chosen = Session(log_path, choose=lambda logs: [one for one in logs if "0032" in one.take.path])
    assert {one.take.path for one in chosen.sounds.by_number.values()} == {"ASH_A_0032.MP4"}


def test_sounds_of_copies_are_offered_once_and_labels_of_either_count(log_path) -> None:
    """A backup of a take in the rushes is the same recording, wherever it was labelled."""
    alone = Session(log_path).sounds.by_number
    with Log(log_path) as log:
        take_log = next(each for each in log.take_logs(features=True) if len(each.calls) > 1)
        copy = replace(take_log.take, path="backup/copy.MP4")
        log.put(replace(take_log, take=copy), feature_version=FEATURE_VERSION)
        for path, call, text in (
            (take_log.take.path, take_log.calls[0], "pit rail: rasp"),
            (copy.path, take_log.calls[1], "marsh hooter: boom"),
        ):
            label = Label(take=path, start_s=call.start_s, end_s=call.end_s, label=text)
            log.change_labels(remove=[], put=[label])
    session = Session(log_path)
    sounds = session.sounds.by_number
    assert len(sounds) == len(alone)
    said = {
        one.call.span: one.label.label
        for number in session.numbers(Order.TAKE, Show.LABELLED)
        if (one := session.heard(number)).label is not None
    }
    assert said == {
        take_log.calls[0].span: "pit rail: rasp",
        take_log.calls[1].span: "marsh hooter: boom",
    }
    assert len(session.numbers(Order.USEFUL, Show.OPEN)) == len(alone) - 2

    [number] = [n for n, one in sounds.items() if one.take.path != take_log.take.path and one.label]
    session.answer(number, "lesser reedling", take_log.calls[1].span)
    assert {text for *_, text in labels(session)} == {"lesser reedling", "pit rail: rasp"}


def test_a_label_is_taken_away_in_the_take_and_its_copies_at_once(log_path) -> None:
    """Else what a copy says of the sound would show next, as if nothing had been taken away."""
    with Log(log_path) as log:
        take_log = next(each for each in log.take_logs(features=True) if len(each.calls) > 1)
        copy = replace(take_log.take, path="backup/copy.MP4")
        log.put(replace(take_log, take=copy), feature_version=FEATURE_VERSION)
        first, second = take_log.calls[:2]
        given = [
            Label(take=take_log.take.path, label="pit rail: rasp", **ends(first.span)),
            Label(
                take=copy.path,
                label="marsh hooter: boom",
                **ends(Span(first.start_s, second.end_s)),
            ),
        ]
        log.change_labels(put=given)
    session = Session(log_path)
    [number] = [n for n, one in session.sounds.by_number.items() if one.call.span == first.span]
    taken = session.take_away(number)
    for _ in "now", "read again":
        said = {one.call.span: one.label for one in session.sounds.by_number.values()}
        assert said[first.span] is None
        assert said[second.span].label == "marsh hooter: boom"
        assert said[second.span].span == second.span, "the other sound keeps what the copy says"
        session.reload()
    session.undo(taken)
    with Log(log_path) as log:
        assert sorted(map(str, log.labels())) == sorted(map(str, given))


def ends(span: Span) -> dict[str, float]:
    return {"start_s": span.start_s, "end_s": span.end_s}


def test_guesses_are_made_of_all_that_is_of_one_take(log_path: Path) -> None:
    class Taught:
        classes = ("pit rail: rasp",)

        def __init__(self, n_features: int) -> None:
            self.panel = SimpleNamespace(n_features=n_features)

        def verdict(self, features: np.ndarray, takes: np.ndarray) -> Verdict:
            sure = [1 / np.count_nonzero(takes == take) for take in takes]
            return Verdict(np.full(len(features), self.classes[0]), np.array(sure), sure)

    with Log(log_path) as log:
        heard = list(sounds_of(log, Numbers(), model=log_path.with_name("none")).by_number.values())
    counts = Counter(one.take.path for one in heard)
    assert len(counts) > 1
    assert max(counts.values()) > 1
    guessed = sounds_module._guessed(heard, Taught(len(heard[0].call.features)))
    assert {one.guess for one in guessed} == {"pit rail: rasp"}
    for one in guessed:
        assert one.confidence == pytest.approx(1 / counts[one.take.path])


@pytest.mark.parametrize("end", ["start", "end"])
def test_a_sound_that_an_end_of_its_take_cuts_off_is_not_the_first(log_path: Path, end) -> None:
    with Log(log_path) as log:
        sounds = sounds_of(log, Numbers(), model=log_path.with_name("none"))
        first = sounds.by_number[sounds.orders[Order.USEFUL][0]]
        one = log.take_log(first.take.path, features=True)
        moved = (
            Span(0.0, 0.5)
            if end == "start"
            else Span(one.take.duration_s - 0.5, one.take.duration_s)
        )
        calls = [
            replace(call, start_s=moved.start_s, end_s=moved.end_s)
            if call.span == first.call.span
            else call
            for call in one.calls
        ]
        log.put(replace(one, calls=tuple(calls)), feature_version=FEATURE_VERSION)
        sounds = sounds_of(log, Numbers(), model=log_path.with_name("none"))
    first = sounds.by_number[sounds.orders[Order.USEFUL][0]]
    assert (first.take.path, first.call.span) != (one.take.path, moved)
