"""The morning message: made once, kept, sent to each address until that succeeds or is given up, and never twice."""

from __future__ import annotations

import hashlib
import logging
import warnings
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, time

from canopy.batch.text_file import read_text
from canopy.errors import UsageError
from canopy.nightly.farm import Farm
from canopy.nightly.when import NS, utc_text
from canopy.nightly.words import morning_message
from canopy.settings import MessageSettings
from canopy.store import outbox
from canopy.store.database import Store
from canopy.store.outbox import GIVEN_UP, SENDING, SENT, UNSURE, WAITING, Delivery, Message

Send = Callable[[str, str, str], bool]
"""Sends a title and a text to an address; false where that failed."""

_DIGITS = 16


def tell(farm: Farm, store: Store, *, now_ns: int, send: Send | None = None) -> list[str]:
    """Make the message when it is due and send what waits; call it only while holding the store's turn.

    What is being sent is noted before, so that a program ended in the middle sends nothing twice: such a message is
    then `unsure`. A server that takes a message and fails to say so is the one case that no sender can tell.

    Parameters
    ----------
    farm : Farm
    store : Store
    now_ns : int
        Nanoseconds since 1970.
    send : callable, optional
        By default through Apprise.

    Returns
    -------
    list of str
        What a person should know: messages that failed, were given up or are unsure.

    Raises
    ------
    UsageError
        The file of addresses cannot be used, or Apprise is not installed.
    """
    chosen = farm.settings.nightly.messages
    if not chosen.to:
        return []
    addresses = {checksum(address): address for address in read_addresses(farm)}
    make(store, chosen, addresses=list(addresses), now_ns=now_ns, farm=farm.root.absolute().name)
    with store.reading() as connection:
        stuck = outbox.deliveries(connection, SENDING)
        waiting = outbox.deliveries(connection, WAITING)
    said = [_unsure(store, one) for one in stuck]
    for one in waiting:
        if _is_due(one, chosen, now_ns):
            said += _sent(store, one, addresses.get(one.address), chosen, now_ns, send or send_by_apprise)
    return said


def make(store: Store, chosen: MessageSettings, *, addresses: Sequence[str], now_ns: int, farm: str) -> None:
    """Make the message when its time has come; a quiet day is noted without one."""
    with store.writing() as connection:
        last = outbox.last_message(connection)
        if not _time_has_come(last, chosen, now_ns):
            return
        up_to = outbox.ends(connection)
        if last is not None and not chosen.at and up_to == (last.up_to_reading, last.up_to_aside):
            return
        trays = outbox.trays_after(connection, last.up_to_reading if last else 0)
        asides = outbox.asides_after(connection, last.up_to_aside if last else 0)
        title, body = morning_message(trays, asides, settings=chosen, farm=farm)
        message = Message(utc_text(now_ns), *up_to, title, body)
        outbox.put_message(connection, message, addresses if title else [])


def read_addresses(farm: Farm) -> list[str]:
    """Addresses of the file that the settings name, each once.

    Raises
    ------
    UsageError
        It cannot be read, or holds none.
    """
    path = farm.beside / farm.settings.nightly.messages.to
    lines = [line.strip() for line in read_text(path).splitlines()]
    addresses = list(dict.fromkeys(line for line in lines if line and not line.startswith("#")))
    if not addresses:
        raise UsageError(f"{path}: holds no address; write one a line, or empty `to` under [nightly.messages]")
    return addresses


def checksum(address: str) -> str:
    """What is kept of an address, which may hold a password."""
    return hashlib.sha256(address.encode()).hexdigest()[:_DIGITS]


def send_by_apprise(title: str, body: str, address: str) -> bool:
    """Send through Apprise; false where that failed.

    Raises
    ------
    UsageError
        Apprise is not installed.
    """
    try:
        from apprise import Apprise, LogCapture, NotifyFormat
    except ModuleNotFoundError:
        raise UsageError("messages: need Apprise; install canopy with its extra `messages`") from None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of modules that it loads as it needs them
        with LogCapture(level=logging.CRITICAL):  # type: ignore[no-untyped-call]  # what it says may hold passwords
            way = Apprise()
            well = way.add(address) and bool(way.notify(body, title=title, body_format=NotifyFormat.TEXT))
    return bool(well)


def _time_has_come(last: Message | None, chosen: MessageSettings, now_ns: int) -> bool:
    if not chosen.at:
        return True
    now = datetime.fromtimestamp(now_ns / NS)
    due: datetime = datetime.combine(now.date(), time.fromisoformat(chosen.at))
    # A clock set back makes no second message: one made today or later stands.
    is_new = last is None or datetime.fromisoformat(last.made_at).timestamp() < due.timestamp()
    return now >= due and is_new


def _is_due(one: Delivery, chosen: MessageSettings, now_ns: int) -> bool:
    if one.tried_at is None:
        return True
    wait_s = chosen.retry_after_s * 2.0 ** (one.tries - 1)
    tried = datetime.fromisoformat(one.tried_at)
    return abs((datetime.fromtimestamp(now_ns // NS, tz=UTC) - tried).total_seconds()) >= wait_s


def _sent(
    store: Store, one: Delivery, address: str | None, chosen: MessageSettings, now_ns: int, send: Send
) -> list[str]:
    """Send one message to one address and note how that went; what a person should know comes back."""
    now = utc_text(now_ns)
    if address is None:
        _note(store, one, GIVEN_UP, one.tries, one.tried_at)
        return [f"message of {one.made_at}: given up, its address is no longer in the file"]
    _note(store, one, SENDING, one.tries + 1, now)
    try:
        well = send(one.title, one.body, address)
    except UsageError:
        _note(store, one, WAITING, one.tries, one.tried_at)
        raise
    except Exception:  # whatever a way of sending raises, the night's readings are safe and the next pass tries again
        well = False
    if well:
        _note(store, one, SENT, one.tries + 1, now)
        return []
    if one.tries + 1 < chosen.tries_max:
        _note(store, one, WAITING, one.tries + 1, now)
        return [f"message of {one.made_at}: not sent (try {one.tries + 1} of {chosen.tries_max}); tried again later"]
    _note(store, one, GIVEN_UP, one.tries + 1, now)
    return [f"message of {one.made_at}: given up after {one.tries + 1} tries; check the address"]


def _unsure(store: Store, one: Delivery) -> str:
    _note(store, one, UNSURE, one.tries, one.tried_at)
    return f"message of {one.made_at}: perhaps not sent, the program ended meanwhile; it is not sent again"


def _note(store: Store, one: Delivery, state: str, tries: int, tried_at: str | None) -> None:
    with store.writing() as connection:
        outbox.put_state(connection, one.id, state, tries=tries, tried_at=tried_at)
