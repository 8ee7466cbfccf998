"""The text gateway against a real service on the web: what arrives, and what is known if not."""

import json
import socket
from collections.abc import Iterator
from datetime import datetime
from urllib.parse import parse_qs, urlsplit
from zoneinfo import ZoneInfo

import pytest

from monitor.channels import CHANNELS
from monitor.channels.base import Delivery, Message, Sender
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.setup import Channel, Person
from real.servers import HOST, Certificates, free_port
from real.text_service import Behaviour, TextService

WRITTEN = Moment(1, 500.0, 1_792_304_340.0)
LOCAL = datetime.fromtimestamp(WRITTEN.utc, ZoneInfo("America/Chicago"))
TEXT = "URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18, header 37cm falling. Reply OK 41."
BODY = TEXT.replace("Reply OK 41.", "Take 41 on the board.")
"""What arrives of it: nothing is heard on this way."""
HOSTILE = '", "to": "+1000"}\r\nX: y & to=+1000 #%26 {token} {to} \\u0022 \N{DEGREE SIGN}'
TOKEN = "a secret/with+signs&"
JSON = '{"recipients": ["{to}"], "message": {"body": "{text}"}, "id": "{number}", "flash": false}'
ALIVE = 15.0
"""Seconds given to a service that answers at once."""


def message(body: str = TEXT, phone: str = "+1 940-555-0141", number: int = 7) -> Message:
    """A text to Tavrin."""
    text = Text(number, 41, "tavrin", "supply lost", "urgent", body, WRITTEN, 9_999.0)
    return Message(text, Person("tavrin", "Tavrin", phone=phone), "Ostrel", LOCAL)


@pytest.fixture
def service() -> Iterator[TextService]:
    """A running service without TLS."""
    running = TextService(None)
    yield running
    running.stop()


@pytest.fixture
def tls_service(certificates: Certificates) -> Iterator[TextService]:
    """A running service with TLS."""
    running = TextService(certificates)
    yield running
    running.stop()


def channel(url: str, **options: object) -> Sender:
    """The channel under test, as a set-up describes it."""
    given: dict[str, object] = {"url": url, "deadline": ALIVE, **options}
    if url.startswith("http:"):
        given["plain_http"] = True
    if not {"json", "form"} & set(given) and "{to}" not in url:
        given["json"] = JSON
    secrets = {"gateway": TOKEN, "word": "larvae-need-water"}
    return CHANNELS["text_gateway"](Channel("text", "text_gateway", tuple(given.items())), secrets)


def test_json_arrives_whole(tls_service: TextService, certificates: Certificates) -> None:
    """Over TLS a document arrives with number, text and token where they belong."""
    tls_service.behaviour = Behaviour(202, b'{"messages": [{"status": "queued"}]}')
    sender = channel(
        f"{tls_service.url}/v1/send",
        ca_file=str(certificates.ca),
        headers=("Authorization: Bearer {token}", "X-Number: {number}"),
        token_secret="gateway",
        ok_path="messages.0.status",
        ok_equals=("sent", "queued"),
    )
    assert "accepted" == sender.send(message()).outcome
    (request,) = tls_service.requests
    assert ("POST", "/v1/send") == (request.method, request.path)
    assert {
        "recipients": ["+19405550141"], "message": {"body": BODY}, "id": "7", "flash": False,
    } == json.loads(request.body)  # fmt: skip
    assert f"Bearer {TOKEN}" == request.headers["Authorization"]
    assert "7" == request.headers["X-Number"]
    assert "application/json" == request.headers["Content-Type"]


def test_hostile_text_stays_a_value(service: TextService) -> None:
    """Quotes, ampersands, line breaks and braces in a text change nothing but the text."""
    expected = HOSTILE.replace("\r\n", "\n")
    channel(service.url).send(message(HOSTILE))
    sent = json.loads(service.requests[0].body)
    assert {"recipients", "message", "id", "flash"} == set(sent)
    assert expected == sent["message"]["body"]
    channel(service.url, form="to={to}&text={text}&from=Ostrel").send(message(HOSTILE))
    assert {"to": ["+19405550141"], "text": [expected], "from": ["Ostrel"]} == parse_qs(
        service.requests[1].body.decode(), strict_parsing=True
    )
    url = f"{service.url}/send/{{to}}?text={{text}}&key={{token}}"
    channel(url, method="GET", token_secret="gateway").send(message(HOSTILE))
    parts = urlsplit(service.requests[2].path)
    assert "/send/%2B19405550141" == parts.path
    assert {"text": [expected], "key": [TOKEN]} == parse_qs(parts.query, strict_parsing=True)
    assert b"" == service.requests[2].body


def test_log_in_and_number_without_plus(service: TextService) -> None:
    """User and password go in the header of the log-in; the + becomes what the service wants."""
    sender = channel(
        service.url, user="ostrel", password_secret="word", plus="00", form="to={to}&m={text}"
    )
    assert Delivery("accepted", "200 {}") == sender.send(message())
    assert "Basic b3N0cmVsOmxhcnZhZS1uZWVkLXdhdGVy" == service.requests[0].headers["Authorization"]
    assert b"to=0019405550141" == service.requests[0].body.partition(b"&")[0]


@pytest.mark.parametrize(
    ("status", "outcome"),
    [(200, "accepted"), (201, "accepted"), (204, "accepted"), (301, "refused"), (307, "refused"),
     (400, "refused"), (401, "refused"), (402, "refused"), (403, "refused"), (404, "refused"),
     (408, "retry"), (422, "refused"), (425, "retry"), (429, "retry"), (500, "retry"),
     (502, "retry"), (503, "retry"), (504, "retry")],
)  # fmt: skip
def test_status_tells_the_outcome(service: TextService, status: int, outcome: str) -> None:
    """4xx is a refusal but for those that are about this moment; 5xx is worth another try."""
    headers = {"Location": f"{service.url}/elsewhere"} if 300 <= status < 400 else {}
    service.behaviour = Behaviour(status, b"" if status == 204 else b"no credit", headers)
    delivery = channel(service.url).send(message())
    assert (outcome, True) == (delivery.outcome, str(status) in delivery.detail)
    assert 1 == len(service.requests)


@pytest.mark.parametrize(
    ("body", "outcome"),
    [
        (b'{"sms": {"state": "queued"}}', "accepted"),
        (b'{"sms": {"state": "rejected", "why": "no credit"}}', "refused"),
        (b'{"sms": {"state": true}}', "refused"),
        (b'{"sms": {}}', "unknown"),
        (b'{"sms": []}', "unknown"),
        (b"[]", "unknown"),
        (b"OK queued", "unknown"),
        (b"", "unknown"),
        (b"\xff\xfe", "unknown"),
        (b"[" * 30_000, "unknown"),
        (b'{"sms": {"state": "' + b"x" * 100_000, "unknown"),
    ],
)
def test_answer_must_look_like_success(service: TextService, body: bytes, outcome: str) -> None:
    """Status 200 with another word in it is a refusal; with anything strange nobody can tell."""
    service.behaviour = Behaviour(200, body)
    sender = channel(service.url, ok_path="sms.state", ok_equals="queued")
    delivery = sender.send(message())
    assert outcome == delivery.outcome
    assert 200 >= len(delivery.detail)


def test_service_that_is_not_there_is_tried_again() -> None:
    """A connection that is refused has sent nothing, and the reason shows no secret."""
    url = f"http://{HOST}:{free_port()}/send?to={{to}}&text={{text}}&key={{token}}"
    sender = channel(url, method="GET", token_secret="gateway")
    assert Delivery("retry", "no connection: Connection refused") == sender.send(message())


def test_host_that_has_no_name_is_tried_again() -> None:
    """A name that is not found has sent nothing."""
    delivery = channel("https://text.invalid/send").send(message())
    assert "retry" == delivery.outcome
    assert "no connection" in delivery.detail


def test_untrusted_certificate_sends_nothing(
    tls_service: TextService, certificates: Certificates
) -> None:
    """A certificate of somebody else is told by name; text and token stay here."""
    sender = channel(tls_service.url, ca_file=str(certificates.other_ca))
    delivery = sender.send(message())
    assert "retry" == delivery.outcome
    assert "certificate of 127.0.0.1 not trusted" in delivery.detail
    assert [] == tls_service.requests


@pytest.mark.parametrize("step", ["silent", "drip"])
def test_no_answer_in_time_is_unknown(service: TextService, step: str) -> None:
    """A service that took the request and says nothing, or never ends, may have sent the text."""
    service.behaviour = Behaviour(step=step)
    delivery = channel(service.url, deadline=0.4).send(message())
    assert "unknown" == delivery.outcome
    assert 1 == len(service.requests)


def test_connection_lost_after_the_request_is_unknown(service: TextService) -> None:
    """A service that hangs up without an answer may have sent the text."""
    service.behaviour = Behaviour(step="drop")
    delivery = channel(service.url).send(message())
    assert "unknown" == delivery.outcome
    assert "connection lost" in delivery.detail


@pytest.mark.parametrize(
    ("status", "outcome"), [(200, "accepted"), (402, "refused"), (503, "retry")]
)
def test_answer_that_breaks_off_still_has_its_status(
    service: TextService, status: int, outcome: str
) -> None:
    """The status says what became of the text, even if the words after it are lost."""
    service.behaviour = Behaviour(status, b"some", step="half")
    assert outcome == channel(service.url).send(message()).outcome


def test_port_that_takes_no_connection_is_tried_again() -> None:
    """A connection that never comes about has sent nothing."""
    with socket.socket() as full:
        full.bind((HOST, 0))
        full.listen(0)
        address = full.getsockname()
        with socket.create_connection(address), socket.socket() as second:
            second.setblocking(False)
            second.connect_ex(address)
            delivery = channel(f"http://{HOST}:{address[1]}", deadline=2.0).send(message())
    assert "retry" == delivery.outcome


def test_wait_that_is_asked_for_is_kept(service: TextService) -> None:
    """After Retry-After the service is left alone, and the reason stays the same."""
    service.behaviour = Behaviour(429, b"slow down", {"Retry-After": "600"})
    sender = channel(service.url)
    first = sender.send(message())
    assert Delivery("retry", "429 slow down; asked to wait 600 s") == first
    service.behaviour = Behaviour()
    assert first == sender.send(message(number=8))
    assert 1 == len(service.requests)


def test_wait_may_be_a_date(service: TextService) -> None:
    """A date is taken by the clock of the service, for ours may be wrong."""
    service.behaviour = Behaviour(
        503, b"busy", {"Date": "Sun, 18 Oct 2026 06:19:00 GMT",
                       "Retry-After": "Sun, 18 Oct 2026 06:20:30 GMT"},
    )  # fmt: skip
    assert Delivery("retry", "503 busy; asked to wait 90 s") == channel(service.url).send(message())


def test_secret_that_comes_back_is_not_shown(service: TextService) -> None:
    """A service that repeats what it was sent does not get our secret into the record."""
    service.behaviour = Behaviour(400, f"bad token {TOKEN}, really".encode())
    sender = channel(
        service.url, token_secret="gateway", json='{"t": "{to}", "m": "{text}", "k": "{token}"}'
    )
    assert Delivery("refused", "400 bad token ***, really") == sender.send(message())


@pytest.mark.parametrize("phone", ["", "940-555-0141", "+1 940-555-0141; x", "tavrin"])
def test_person_without_number_is_refused(service: TextService, phone: str) -> None:
    """Somebody without an international number is not asked of the service."""
    assert "refused" == channel(service.url).send(message(phone=phone)).outcome
    assert [] == service.requests
