"""What could not be delivered, in plain words: why, and what somebody can do about it. Pure."""

from __future__ import annotations

_MAIL = "The mail server"
# Beginning of the error as it was kept -> why, and what to do.
_EMAIL_WORDS: tuple[tuple[str, tuple[str, str]], ...] = (
    ("SMTPRecipientsRefused", (f"{_MAIL} refuses the address.", "Correct the person's address, then try again.")),
    (
        "SMTPAuthenticationError",
        (
            f"{_MAIL} refuses the service's sign-in.",
            "Whoever runs the service corrects EMAIL_URL and starts it anew; then try again.",
        ),
    ),
    (
        "SMTPSenderRefused",
        (
            f"{_MAIL} refuses the service as a sender.",
            "Whoever runs the service corrects DEFAULT_FROM_EMAIL and starts it anew; then try again.",
        ),
    ),
    ("SMTPDataError", (f"{_MAIL} refused the message.", "Ask whoever keeps the mail server, then try again.")),
)
_EMAIL_ELSE = (
    f"{_MAIL} could not be reached.",
    "Whoever runs the service sees that it is up and that EMAIL_URL names it; then try again.",
)


def email(last_error: str) -> tuple[str, str]:
    """Why an email could not be delivered, and what to do."""
    return next((words for begins, words in _EMAIL_WORDS if last_error.startswith(begins)), _EMAIL_ELSE)


def post(last_error: str) -> tuple[str, str]:
    """Why a webhook message could not be delivered, and what to do; then it is posted again at the receiver's page."""
    if last_error.startswith("SSL"):
        return "Its certificate is not in order.", "Its keeper renews the certificate, then post again."
    if last_error.startswith("This address lies inside"):
        return "Nothing is posted into a network here.", "Whoever runs the service can allow it, or change its address."
    answered = last_error.removeprefix("answered ")
    if last_error.startswith("the address is not allowed"):
        return "Here a receiver's address must begin with https.", "Change its address to such a one."
    if answered == last_error or not answered.isdigit():
        return "It could not be reached.", "See that it is up, then post again; if it moved, change its address."
    status = int(answered)
    if 300 <= status < 400:
        return "It sends messages on to another address.", "Change its address to that one, then post again."
    if status in (401, 403):
        return "It does not let the service in.", "Its keeper checks the secret and who may post, then post again."
    if status in (404, 410):
        return "Nothing takes messages at its address.", "Give it the right address, then post again."
    if status == 429 or status >= 500:
        return "It was broken or too busy for days.", "See with its keeper that it is well, then post again."
    return "It does not want this message.", "Its keeper mends what refuses it, then post again."
