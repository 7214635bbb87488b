"""Processes that measure: what one photo does to them is nobody else's trouble."""

from __future__ import annotations

import os
import time

import numpy as np
import pytest

from canopy.errors import PhotoError
from canopy.web.workshop import Workshop


def tell(data, *, name):
    return data, name


def sleep(*, name):
    time.sleep(30)


def die(*, name):
    os._exit(1)


def eat(*, name):
    return np.ones(2_000_000_000, np.uint8).sum()


def refuse(*, name):
    raise PhotoError("blurred", f"{name}: is blurred")


def fail(*, name):
    return [][1]


@pytest.fixture(scope="module")
def workshop():
    # Two seconds are enough to answer, too few for the sleeper; 2 GB do not hold an array of 2 GB beside the program.
    shop = Workshop(workers=1, memory_mb=2000, time_s=2)
    yield shop
    shop.close()


def test_an_answer_comes_back(workshop):
    assert workshop.call(tell, b"data", name="a.jpg") == (b"data", "a.jpg")


@pytest.mark.parametrize(
    ("work", "code", "said"),
    [(refuse, "blurred", "a.jpg: is blurred"), (sleep, "failed", "was given up"), (die, "failed", "was given up"),
     (eat, "too_large", "needs more memory"), (fail, "failed", "IndexError at fail")],
)  # fmt: skip
def test_what_goes_wrong_is_told_and_the_next_photo_goes_on(workshop, work, code, said):
    with pytest.raises(PhotoError, match=said) as raised:
        workshop.call(work, name="a.jpg")
    assert raised.value.code == code
    assert workshop.call(tell, 7, name="b.jpg") == (7, "b.jpg")
