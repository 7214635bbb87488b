"""Strictness that all rooms share."""

from __future__ import annotations

import cv2
import numpy as np
import pytest


@pytest.fixture(autouse=True)
def _one_thread_and_loud_numbers():
    """One thread, so that tests do not fight over cores; overflow and invalid numbers fail the test that made them."""
    cv2.setNumThreads(1)
    with np.errstate(over="raise", invalid="raise", divide="raise"):
        yield
