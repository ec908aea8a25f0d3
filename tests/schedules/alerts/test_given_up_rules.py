"""Whoever reads what could not be delivered learns why and what to do."""

import smtplib

import pytest

from schedules.alerts import given_up_rules, http_post


@pytest.mark.parametrize(
    ("error", "says", "do"),
    [
        (smtplib.SMTPRecipientsRefused({"a@b.example": (550, b"no such box")}), "refuses the address", "Correct"),
        (smtplib.SMTPAuthenticationError(535, b"no"), "sign-in", "EMAIL_URL"),
        (smtplib.SMTPSenderRefused(550, b"no", "x@y.example"), "as a sender", "DEFAULT_FROM_EMAIL"),
        (smtplib.SMTPDataError(552, b"too big"), "refused the message", "whoever keeps the mail server"),
        (ConnectionRefusedError(111, "Connection refused"), "could not be reached", "EMAIL_URL"),
        (TimeoutError("timed out"), "could not be reached", "EMAIL_URL"),
    ],
)
def test_an_email(error, says, do):
    why, what = given_up_rules.email(f"{type(error).__name__}: {error}")
    assert says in why
    assert do in what


@pytest.mark.parametrize(
    ("error", "says", "do"),
    [
        ("answered 422", "does not want this message", "keeper"),
        ("answered 404", "Nothing takes", "right address"),
        ("answered 403", "let the service in", "secret"),
        ("answered 302", "another address", "Change"),
        ("answered 503", "broken or too busy", "well"),
        ("answered ", "could not be reached", "up"),
        ("ConnectionRefusedError: [Errno 111] Connection refused", "could not be reached", "up"),
        ("SSLCertVerificationError: certificate has expired", "certificate", "renews"),
        (http_post.INSIDE, "into a network", "can allow it"),
        ("the address is not allowed here: https only", "https", "Change"),
    ],
)
def test_a_post(error, says, do):
    why, what = given_up_rules.post(error)
    assert says in why
    assert do in what
