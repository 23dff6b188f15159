"""Labels as people write them: what is read, and every fault by its line."""

from __future__ import annotations

import pytest

from gateway.alarms.actions import Answer
from gateway.replay.answers import answer_counts, answer_labels
from gateway.replay.held_out import tuned_within
from gateway.replay.labels import FAULTS_TOLD, Kind, Label, LabelSet, LabelsFault, read_labels
from tests.gateway.alarms.build import IN, OUT, Story, point
from tests.gateway.build import MINUTE_US
from tests.gateway.replay.told import at, clock, label_line, labels_text, occurrence


def read(*lines: str, who: str | None = None) -> LabelSet:
    return read_labels(labels_text(*lines), "nights.csv", ("A1", "A2"), ("north-head",), who)


def faults(*lines: str, who: str | None = None) -> list[str]:
    with pytest.raises(LabelsFault) as fault:
        read(*lines, who=who)
    return str(fault.value).splitlines()


def test_a_label_is_read_whole_and_the_sites_name_is_the_whole_site() -> None:
    found = read(label_line(5, 9, "flashover", "north-head", "0.75", "mk", "2026-11"))
    assert found.labels == (
        Label(at(5), at(9), "", Kind.FLASHOVER, 750_000, "mk", "2026-11", "", 2),
    )


@pytest.mark.parametrize("kind", [one.value for one in Kind])
def test_every_kind_can_be_labelled(kind: str) -> None:
    assert read(label_line(1, 2, kind)).labels[0].kind == kind


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (label_line(1, 2, subject="A9"), "subject 'A9' is no insulator of this run"),
        (label_line(1, 2, kind="arcs"), "kind 'arcs' is none of arcing, flashover"),
        (label_line(2, 2), "is not after start"),
        (label_line(1, 2, confidence="1.5"), "confidence '1.5'"),
        (label_line(1, 2, confidence="nan"), "confidence 'nan'"),
        (label_line(1, 2, confidence="sure"), "confidence 'sure'"),
        (label_line(1, 2, who=""), "who is empty"),
        (label_line(1, 2, version=""), "version is empty"),
        (label_line(1, 2).replace("Z", "", 1), "a time with its zone is needed"),
        (f"yesterday,{clock(2)},A1,arcing,1,lk,1", "start 'yesterday'"),
        (f"{clock(1)},{clock(2)},A1", "not as many cells"),
        (label_line(1, 2) + ",more", "not as many cells"),
    ],
)
def test_a_fault_names_its_line_what_was_found_and_what_is_allowed(line: str, words: str) -> None:
    (told,) = faults(label_line(50, 60), line)
    assert told.startswith("nights.csv: line 3: ") and words in told


def test_all_lines_at_fault_are_named_and_very_many_are_counted() -> None:
    assert len(faults(*[label_line(1, 2, subject="A9")] * 3)) == 3
    many = faults(*[label_line(1, 2, subject="A9")] * 50)
    assert len(many) == FAULTS_TOLD + 1 and "and 30 more faults" in many[-1]


def test_a_missing_column_is_named_and_an_unknown_one_is_a_warning() -> None:
    with pytest.raises(LabelsFault, match="no column confidence, who, version"):
        read_labels("start,end,subject,kind\n", "n.csv", ())
    text = labels_text().replace("version", "version,mood")
    assert "mood" in read_labels(text, "n.csv", ()).warnings[0]


def test_labels_of_one_kind_and_subject_that_overlap_are_named() -> None:
    (told,) = faults(label_line(1, 9), label_line(20, 30), label_line(8, 12, who="mk"))
    assert "lines 2 and 4 overlap: arcing and arcing of A1" in told and "--who" in told


def test_a_long_label_overlaps_a_late_one_although_a_short_one_lies_between() -> None:
    assert "lines 2 and 4" in faults(label_line(1, 99), label_line(5, 6), label_line(50, 60))[-1]


def test_labels_that_touch_or_are_of_other_subjects_or_kinds_do_not_overlap() -> None:
    found = read(
        label_line(1, 9),
        label_line(9, 12),
        label_line(1, 9, subject="A2"),
        label_line(1, 9, "rain"),
    )
    assert len(found.labels) == 4


@pytest.mark.parametrize("first", ["unknown", "arcing"])
def test_what_is_known_cannot_be_unknown_at_the_same_time(first: str) -> None:
    second = {"unknown": "arcing", "arcing": "unknown"}[first]
    assert "overlap" in faults(label_line(1, 9, first), label_line(5, 12, second))[0]
    assert read(label_line(1, 9, "rain"), label_line(5, 12, "unknown"))


def test_one_annotator_can_be_chosen_and_one_who_is_not_there_is_told() -> None:
    lines = (label_line(1, 9), label_line(8, 12, who="mk"))
    assert [one.who for one in read(*lines, who="mk").labels] == ["mk"]
    assert "nobody called 'xy'; there are lk, mk" in faults(*lines, who="xy")[0]


def test_the_hash_follows_what_is_said_and_not_the_order_of_the_rows() -> None:
    one, other = label_line(1, 2), label_line(5, 6)
    assert read(one, other).sha == read(other, one).sha
    shas = {read(one).sha, read(label_line(1, 2, version="2")).sha, read(other).sha}
    assert len(shas) == 3


def test_only_time_on_which_these_very_settings_were_tuned_cannot_judge_them() -> None:
    period = (at(30), at(120))
    own = Label(at(0), at(60), "", Kind.TUNED_ON, 1_000_000, "lk", "1", "abcd")
    others = Label(at(0), at(60), "", Kind.TUNED_ON, 1_000_000, "lk", "1", "ffff")
    elsewhere = Label(at(0), at(60), "A9", Kind.TUNED_ON, 1_000_000, "lk", "1")
    found = tuned_within([own, others, elsewhere], (), "abcdef", ("A1",), period)
    assert found == ((at(30), at(60)),)
    assert not tuned_within([own], (), "abcdef", ("A1",), (at(60), at(120)))
    assert tuned_within([], [(at(100), at(110), "A1")], "x", ("A1",), period)


def answered() -> Story:
    story = Story()
    story.hear(5, IN)
    story.answer(7, Answer.NOTHING_SEEN, point())
    story.answer(8, Answer.SEEN_ARCING, point())  # the last word counts
    story.hear(20, OUT)
    story.hear(300, IN, subject="A2")
    story.hear(320, OUT, subject="A2")
    story.answer(400, Answer.NOTHING_SEEN, point(subject="A2"))
    return story


def test_answers_become_labels_of_their_own_over_the_time_that_the_alarm_stood() -> None:
    found = answer_labels(answered().journal)
    told = [(one.answer, one.subject, one.start_us, one.end_us) for one in found]
    assert told == [
        (Answer.SEEN_ARCING, "A1", at(5), at(8)),
        (Answer.NOTHING_SEEN, "A2", at(300), at(320)),
    ]


def test_a_run_is_asked_whether_it_would_call_again_where_people_answered() -> None:
    labels = answer_labels(answered().journal)
    counts = answer_counts(labels, [occurrence(4, 20)], 2 * MINUTE_US, 0)
    told = {one.answer: (one.given, one.calls_again) for one in counts}
    assert told[Answer.SEEN_ARCING] == (1, 1)
    assert told[Answer.NOTHING_SEEN] == (1, 0)
    assert told[Answer.WASHING] == told[Answer.OUTAGE] == (0, 0)
    assert sum(one.given for one in counts) == len(labels)
