"""What is to be told of a farm: photos set aside, messages, and what became of each message at each address."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from sqlalchemy import Connection, func, insert, select, update

from canopy.measure.columns import TRAY_COLUMNS
from canopy.store.readings import newest_since, read_numbers
from canopy.store.schema import ASIDES, DELIVERIES, MESSAGES, READINGS

WAITING, SENDING, SENT, GIVEN_UP, UNSURE = "waiting", "sending", "sent", "given_up", "unsure"
"""States of a delivery. `unsure`: the program ended while it was being sent, and it is not sent again."""


@dataclass(frozen=True)
class Aside:
    """A photo set aside, as it was told.

    Attributes
    ----------
    noted_at : str
        ISO 8601, UTC.
    photo, tray, reason, message : str
        Of `canopy.batch.job.SetAside`.
    """

    noted_at: str
    photo: str
    tray: str
    reason: str
    message: str


@dataclass(frozen=True)
class Message:
    """A message as it was made.

    Attributes
    ----------
    made_at : str
        ISO 8601, UTC.
    up_to_reading, up_to_aside : int
        Numbers of the last reading and the last photo set aside that it takes account of.
    title, body : str
        Empty where there was nothing to tell.
    """

    made_at: str
    up_to_reading: int
    up_to_aside: int
    title: str
    body: str


@dataclass(frozen=True)
class Delivery:
    """A message on its way to one address.

    Attributes
    ----------
    id : int
    title, body : str
    address : str
        Checksum of the address.
    state : str
    tries : int
    tried_at : str or None
        ISO 8601, UTC.
    made_at : str
        When the message was made.
    """

    id: int
    title: str
    body: str
    address: str
    state: str
    tries: int
    tried_at: str | None
    made_at: str


def note_asides(connection: Connection, asides: Sequence[Aside]) -> None:
    """Note photos that were set aside."""
    if asides:
        connection.execute(insert(ASIDES), [vars(aside) for aside in asides])


def last_message(connection: Connection) -> Message | None:
    """The newest message; None before the first."""
    columns = [MESSAGES.c[name] for name in Message.__dataclass_fields__]
    row = connection.execute(select(*columns).order_by(MESSAGES.c.id.desc()).limit(1)).first()
    return Message(*row) if row is not None else None


def ends(connection: Connection) -> tuple[int, int]:
    """Numbers of the last reading and the last photo set aside; 0 where there is none."""
    numbers = [connection.execute(select(func.max(of.c.id))).scalar() or 0 for of in (READINGS, ASIDES)]
    return numbers[0], numbers[1]


def asides_after(connection: Connection, number: int) -> list[Aside]:
    """Photos set aside after the one of this number, in the order they were."""
    columns = [ASIDES.c[name] for name in Aside.__dataclass_fields__]
    wanted = select(*columns).where(ASIDES.c.id > number).order_by(ASIDES.c.id)
    return [Aside(*row) for row in connection.execute(wanted)]


def trays_after(connection: Connection, number: int) -> pd.DataFrame:
    """Rows of the table of trays of readings after the one of this number, the newest photo of each tray alone."""
    rows = read_numbers(connection, "trays", newest_since(connection, number), TRAY_COLUMNS)
    newest_last = rows.sort_values("taken_at", kind="stable", na_position="first")
    return newest_last.drop_duplicates("tray", keep="last").sort_values("tray", kind="stable").reset_index(drop=True)


def put_message(connection: Connection, message: Message, addresses: Sequence[str]) -> None:
    """Keep a message, waiting to be sent to each of the addresses."""
    number = connection.execute(insert(MESSAGES).values(vars(message)).returning(MESSAGES.c.id)).scalar_one()
    ways = [{"message_id": number, "address": one, "state": WAITING, "tries": 0} for one in addresses]
    if ways:
        connection.execute(insert(DELIVERIES), ways)


def deliveries(connection: Connection, *states: str) -> list[Delivery]:
    """Deliveries in one of the states, oldest first."""
    of = DELIVERIES.join(MESSAGES, DELIVERIES.c.message_id == MESSAGES.c.id)
    way, message = DELIVERIES.c, MESSAGES.c
    columns = (way.id, message.title, message.body, way.address, way.state, way.tries, way.tried_at, message.made_at)
    wanted = select(*columns).select_from(of).where(way.state.in_(states)).order_by(way.id)
    return [Delivery(*row) for row in connection.execute(wanted)]


def put_state(connection: Connection, number: int, state: str, *, tries: int, tried_at: str | None) -> None:
    """Note how far a delivery is."""
    change = update(DELIVERIES).where(DELIVERIES.c.id == number)
    connection.execute(change.values(state=state, tries=tries, tried_at=tried_at))
