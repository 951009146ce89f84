"""Time stamps on a plan: what OpenSSL made and finds good is good, and nothing else is."""

from __future__ import annotations

from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

import pytest
from rfc3161_client import decode_timestamp_response

from aerobe.errors import ImportFault
from aerobe.usecases.trials import check_stamp, stamp_request

STAMP = Path(__file__).parents[1] / "data" / "stamp"  # made by `openssl ts` for an invented authority, see ../data/README.md
PLAN, REPLY, AUTHORITY, ANOTHER = (
    (STAMP / name).read_bytes() for name in ("plan.json", "reply.tsr", "authority.pem", "another.pem")
)


def test_a_good_stamp_tells_when_the_plan_was_there() -> None:
    found = check_stamp(PLAN, REPLY, AUTHORITY)
    assert found.stamped_at == datetime(2026, 11, 28, 4, 38, 38, tzinfo=UTC)  # outside truth: `openssl ts -reply -text`
    assert (found.authority, found.policy) == ("CN=Invented clock", "1.2.3.4.1")
    assert found.sha256 == sha256(PLAN).hexdigest()
    assert check_stamp(PLAN, REPLY, ANOTHER + AUTHORITY + AUTHORITY) == found  # several authorities in one file


# By name, since a request is drawn anew each time it is made.
NO_GOOD = {
    "another file": (PLAN + b" ", REPLY, AUTHORITY, "of another file"),
    "another authority": (PLAN, REPLY, ANOTHER, "cannot be trusted"),
    "cut off": (PLAN, REPLY[:-1], AUTHORITY, "no time stamp reply"),
    "empty": (PLAN, b"", AUTHORITY, "no time stamp reply"),
    "the request": (PLAN, stamp_request(PLAN), AUTHORITY, "no time stamp reply"),
    "a rejection": (PLAN, bytes.fromhex("30053003020102"), AUTHORITY, "did not stamp"),  # status 2
    "no authority": (PLAN, REPLY, b"", "no certificate"),
    "no certificate": (PLAN, REPLY, PLAN, "no certificate"),
}


@pytest.mark.parametrize("name", NO_GOOD)
def test_what_is_no_good_stamp_is_refused(name: str) -> None:
    plan, reply, authority, says = NO_GOOD[name]
    with pytest.raises(ImportFault, match=says):
        check_stamp(plan, reply, authority)


def test_no_changed_time_or_hash_is_taken() -> None:
    told = decode_timestamp_response(REPLY).tst_info
    signed = REPLY.index(b"20261128043838Z"), REPLY.index(told.message_imprint.message)
    for place in signed:
        for at in range(place, place + 14):
            changed = REPLY[:at] + bytes([REPLY[at] ^ 1]) + REPLY[at + 1 :]
            with pytest.raises(ImportFault):
                check_stamp(PLAN, changed, AUTHORITY)


def test_a_request_holds_the_hash_and_nothing_of_the_plan() -> None:
    asked = stamp_request(PLAN)
    assert sha256(PLAN).digest() in asked and PLAN not in asked and len(asked) < 100
    assert asked != stamp_request(PLAN)  # a number drawn by chance
