"""Time stamps of an authority on a plan (RFC 3161): what to send for one, and whether the reply is sound, off line."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime

from cryptography import x509
from rfc3161_client import (
    HashAlgorithm,
    TimestampRequestBuilder,
    TimeStampResponse,
    VerificationError,
    VerifierBuilder,
    decode_timestamp_response,
)

from aerobe.errors import ImportFault

GRANTED = (0, 1)  # as it was asked, or with changes: RFC 3161, 2.4.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """What a sound time stamp says of a file."""

    sha256: str  # of the file
    stamped_at: datetime  # the file was there then, at the latest
    authority: str  # as the stamp names itself; empty if it does not
    policy: str  # the authority's rules, by their number


def stamp_request(content: bytes) -> bytes:
    """What an authority needs to stamp a file: its SHA-256 and a number drawn by chance, nothing of what it says. DER.

    Source
    ------
    rfc-3161
    """
    asked = TimestampRequestBuilder(data=content).hash_algorithm(HashAlgorithm.SHA256)
    return bytes(asked.nonce(nonce=True).cert_request(cert_request=True).build().as_bytes())


def check_stamp(content: bytes, reply: bytes, authorities: bytes) -> Stamp:
    """When a file was there at the latest, by an authority's reply.

    Parameters
    ----------
    content
        The file, byte for byte as it was stamped.
    reply
        The authority's answer. DER.
    authorities
        Root certificates that are trusted, one after another. PEM.

    Raises
    ------
    ImportFault
        If the reply is none, grants nothing, is of another file, or is signed by nobody who is trusted.

    Source
    ------
    rfc-3161
    """
    verifier = VerifierBuilder()
    for root in dict.fromkeys(_roots(authorities)):
        verifier = verifier.add_root_certificate(root)
    try:
        return _checked(content, _read(reply), verifier)
    except VerificationError as fault:
        if "Mismatch between messages" in str(fault):
            raise ImportFault(
                "The time stamp is of another file.", "Take the file as it was when it was stamped, byte for byte."
            ) from None
        raise ImportFault(
            "The time stamp cannot be trusted: it was changed, or is signed by none of these authorities, or their certificates "
            "have run out.",
            "Get the authority's root certificate (PEM) from its own page, and the reply as it was sent.",
        ) from None
    except ValueError:  # the library reads each part as it is asked for
        raise ImportFault(
            "This is no time stamp reply (RFC 3161, DER) that can be read.", "Take the reply as the authority sent it."
        ) from None


def _checked(content: bytes, read: TimeStampResponse, verifier: VerifierBuilder) -> Stamp:
    verifier.build().verify_message(read, content)
    told = read.tst_info
    return Stamp(
        sha256=hashlib.sha256(content).hexdigest(),
        stamped_at=told.gen_time,
        authority=told.name.value.rfc4514_string() if isinstance(told.name, x509.DirectoryName) else "",
        policy=told.policy.dotted_string,
    )


def _read(reply: bytes) -> TimeStampResponse:
    read = decode_timestamp_response(reply)
    if read.status not in GRANTED:
        raise ImportFault("The authority did not stamp the file.", "Send it the request again, or ask another authority.")
    return read


def _roots(authorities: bytes) -> list[x509.Certificate]:
    try:
        return x509.load_pem_x509_certificates(authorities)
    except ValueError:
        raise ImportFault(
            "The file of the authority holds no certificate (PEM).", "Get its root certificate from its own page."
        ) from None
