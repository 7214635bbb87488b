"""Gates: calendar arithmetic by hand; what is unknown never opens one."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest

from canopy.errors import PhotoError
from canopy.readiness.gates import cell_gates, days_after_sowing, waiting_after_treatment
from canopy.reasons import REASONS
from canopy.records.recipe import CropRecipe
from canopy.records.tray import Treatment


@pytest.mark.parametrize(
    ("sown", "taken", "das"),
    [
        (date(2026, 5, 1), datetime(2026, 5, 1, 23, 59), 0),
        (date(2026, 5, 1), datetime(2026, 5, 2, 0, 1), 1),
        (date(2026, 2, 20), datetime(2026, 3, 6, 12), 14),  # 2026 is no leap year: 8 + 6
        (date(2024, 2, 20), datetime(2024, 3, 6, 12), 15),  # 2024 is: 9 + 6
        (date(2025, 12, 25), datetime(2026, 1, 5, 8), 11),
    ],
)
def test_days_after_sowing_are_calendar_days(sown: date, taken: datetime, das: int) -> None:
    assert days_after_sowing(sown, taken) == das


def test_days_after_sowing_use_the_photos_own_local_date() -> None:
    early = datetime(2026, 5, 13, 0, 10, tzinfo=timezone(timedelta(hours=9)))
    assert early.astimezone(UTC).date() == date(2026, 5, 12)  # in UTC it is still the day before
    assert days_after_sowing(date(2026, 5, 1), early) == 12


def test_unknown_dates_give_no_age() -> None:
    assert days_after_sowing(None, datetime(2026, 5, 1)) is None
    assert days_after_sowing(date(2026, 5, 1), None) is None


def test_sown_after_the_photo_is_an_error_that_names_both_dates() -> None:
    with pytest.raises(PhotoError, match=r"T-07: `sown_on` 2026-05-20 lies after the photo \(2026-05-13\)") as caught:
        days_after_sowing(date(2026, 5, 20), datetime(2026, 5, 13), tray="T-07")
    assert caught.value.code == "sown_in_future"
    assert REASONS["sown_in_future"].blocks


def treated(on: date, days: int, product: str = "Leafguard") -> Treatment:
    return Treatment(applied_on=on, interval_days=days, product=product)


def test_waiting_time_names_product_date_days_and_label() -> None:
    text = waiting_after_treatment([treated(date(2026, 5, 10), 7)], datetime(2026, 5, 13, 5))
    assert text == (
        "waiting time after Leafguard applied 2026-05-10: 4 days left, not before 2026-05-17; follow the product label"
    )


@pytest.mark.parametrize(("day", "blocks"), [(10, True), (16, True), (17, False), (18, False)])
def test_waiting_time_ends_on_the_day_applied_plus_interval(day: int, blocks: bool) -> None:
    text = waiting_after_treatment([treated(date(2026, 5, 10), 7)], datetime(2026, 5, day, 23))
    assert (text is not None) is blocks


def test_last_day_reads_one_day_left() -> None:
    text = waiting_after_treatment([treated(date(2026, 5, 10), 7)], datetime(2026, 5, 16))
    assert text is not None
    assert "1 day left" in text


def test_every_running_waiting_time_is_named() -> None:
    both = [treated(date(2026, 5, 10), 7), treated(date(2026, 5, 11), 14, "Other"), treated(date(2026, 4, 1), 7, "Old")]
    text = waiting_after_treatment(both, datetime(2026, 5, 13))
    assert text is not None
    assert "Leafguard" in text
    assert "Other" in text
    assert "Old" not in text


def test_waiting_time_cannot_be_counted_without_a_date_so_it_blocks() -> None:
    text = waiting_after_treatment([treated(date(2026, 5, 10), 7)], None)
    assert text is not None
    assert "unknown" in text


def test_treatment_after_the_photo_blocks_too() -> None:
    assert waiting_after_treatment([treated(date(2026, 5, 14), 3)], datetime(2026, 5, 13)) is not None


def test_no_waiting_time_on_the_label_does_not_block() -> None:
    assert waiting_after_treatment([treated(date(2026, 5, 13), 0)], datetime(2026, 5, 13)) is None
    assert waiting_after_treatment([treated(date(2026, 5, 14), 0)], datetime(2026, 5, 13)) is None
    assert waiting_after_treatment([treated(date(2026, 5, 13), 0)], None) is None
    assert waiting_after_treatment([], None) is None


def test_gates_at_their_limits(recipe: CropRecipe) -> None:
    gates = cell_gates(
        recipe,
        das=np.array([9.0, 10.0, 29.0, 30.0, np.nan]),
        area_mm2=np.array([499.0, 500.0, 501.0, np.nan, 600.0]),
        damage_fraction=np.array([0.2, 0.21, np.nan, 0.0, 0.5]),
        waiting=None,
    )
    # minimum 10 days and 500 mm², last day 30, limit 0.2 (test recipe); unknown never opens a gate
    assert gates.too_young.tolist() == [True, False, False, False, True]
    assert gates.too_small.tolist() == [True, False, False, True, False]
    assert gates.too_old.tolist() == [False, False, False, True, False]
    assert gates.damaged.tolist() == [False, True, False, False, True]
    assert gates.damage_unknown.tolist() == [False, False, True, False, False]
