"""Ways to reach people: one a file, and the one table of channels.

A channel is imported when it is set up, so that a rig pays only for what it has.
"""

from collections.abc import Callable

from monitor.channels.base import Secrets, Sender
from monitor.setup import Channel


def _mail(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.mail import MailChannel

    return MailChannel(setup, secrets)


def _folder(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.folder import FolderChannel

    return FolderChannel(setup, secrets)


def _mailbox(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.mailbox import MailboxChannel

    return MailboxChannel(setup, secrets)


def _modem(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.modem import ModemChannel

    return ModemChannel(setup, secrets)


def _sign_http(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.sign_http import SignHttpChannel

    return SignHttpChannel(setup, secrets)


def _sign_mqtt(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.sign_mqtt import SignMqttChannel

    return SignMqttChannel(setup, secrets)


def _siren(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.siren import siren

    return siren(setup, secrets)


def _text_gateway(setup: Channel, secrets: Secrets) -> Sender:
    from monitor.channels.text_gateway import TextGatewayChannel

    return TextGatewayChannel(setup, secrets)


CHANNELS: dict[str, Callable[[Channel, Secrets], Sender]] = {
    "mail": _mail,
    "folder": _folder,
    "mailbox": _mailbox,
    "modem": _modem,
    "sign_http": _sign_http,
    "sign_mqtt": _sign_mqtt,
    "siren": _siren,
    "text_gateway": _text_gateway,
}
"""The sender of each kind of channel. A new kind is a file and a line here."""
