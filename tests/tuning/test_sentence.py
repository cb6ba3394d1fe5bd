"""Sentences that know their numbers stay texts, and lose nothing in being joined, copied or sent to another process."""

import copy
import json
import pickle

import pytest

from tuning.sentence import Sentence, joined, say
from tuning.wording import duration, often


def comma(number):
    return number.translate({ord("."): ",", ord(","): "."})


@pytest.mark.parametrize(
    ("sentence", "english", "german"),
    [
        (say("{n:,.1f} lx", n=1234.5), "1,234.5 lx", "1.234,5 lx"),
        (duration(90), "1.5 min", "1,5 min"),
        (duration(600), "10 min", "10 min"),
        (often(0.28), "0.28", "0,28"),
        (say("In 2.14 about {n}, {room}.", n=often(2.5), room="1.5"), "In 2.14 about 2.5, 1.5.", "In 2.14 about 2,5, 1.5."),
        (say("{a:.1%}", a=0.125) + " of " + duration(90), "12.5% of 1.5 min", "12,5% of 1,5 min"),
        (joined([duration(90), "1.5", duration(150)], ", "), "1.5 min, 1.5, 2.5 min", "1,5 min, 1.5, 2,5 min"),
        (joined(say("{a}\n{b}", a=duration(90), b=duration(150)).lines(), ", "), "1.5 min, 2.5 min", "1,5 min, 2,5 min"),
    ],
)  # fmt: skip
def test_only_numbers_are_written_anew(sentence, english, german):
    assert sentence == english
    assert sentence.shown(comma) == german
    assert json.loads(json.dumps([sentence])) == [english]
    for again in (copy.deepcopy(sentence), pickle.loads(pickle.dumps(sentence))):
        assert (again, again.numbers) == (sentence, sentence.numbers)


def test_a_plain_text_has_no_numbers():
    assert Sentence("room 2.14").shown(comma) == "room 2.14"
