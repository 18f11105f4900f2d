"""A call to one station: a question goes out until its answer comes, or patience ends.

A client of its own, beside the host's: with a session that the broker forgets, and one question at a time. The
network moves only inside `ask`.
"""

import secrets
import time
from types import TracebackType
from typing import Any, Self

import msgspec
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from swapbell_host.config import Config
from swapbell_host.intake import Station as Key
from swapbell_host.wire.signing import sign_in
from swapbell_models.evidence import Answer, Found, Piece, Question, Refused, Seek, Want
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.message import Health, MalformedMessage, Subject, decode, encode, topic

# Our choice: a question that found nobody is repeated after so long, and a broker that was lost is called again.
REPEAT_S = 5.0
RETRY_S = 1.0
STEP_S = 0.1
KEEPALIVE_S = 30
QOS_AT_LEAST_ONCE = 1
# Our choice: so often, each time within so long, a broker drops hardly anybody but one of two of the same name.
BRIEF_S, BRIEF_MAX = 5.0, 3
# MQTT 3.1.1, 3.9.3: the broker does not let us listen.
NO_LEAVE = 0x80


class Caller:
    """Asks one station for its evidence.

    Parameters
    ----------
    config : Config
        Where the broker is, and who asks.
    station : (site, station)
        Whom.
    patience_s : float
        How long to wait for an answer [s].

    Raises
    ------
    Mistake
        If the password or the certificate cannot be read.
    """

    def __init__(self, config: Config, station: Key, patience_s: float) -> None:
        self._auditor = auditor = config.auditor
        broker = config.broker
        if auditor is not None:
            broker = msgspec.structs.replace(broker, username=auditor.username, password_file=auditor.password_file)
        self._broker, self._station, self._patience_s = broker, station, patience_s
        self._topics = {subject: topic(*station, subject) for subject in Subject}
        self._answer: Answer | None = None
        self._last_word: Health | None = None
        self._wish: Question | None = None
        self._listens = self._ever_listened = False
        self._retry_at_s = self._listening_s = 0.0
        self._brief = 0
        self._client = self._make_client()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()

    def ask(self, wants: Seek | Want) -> Found | Piece:
        """Return what the station gives.

        Raises
        ------
        Mistake
            If the station refuses, for there is no such thing, or the broker refuses us.
        Breakdown
            If no answer comes in time.
        """
        given = self._asked(Question(id=secrets.token_hex(8), wants=wants)).gives
        if isinstance(given, Refused):
            raise Mistake(given.reason)
        return given

    def _asked(self, question: Question) -> Answer:
        self._wish, self._answer = question, None
        give_up_s, repeat_s = time.monotonic() + self._patience_s, 0.0
        while (now_s := time.monotonic()) < give_up_s:
            if self._turn(now_s) and now_s >= repeat_s:
                self._client.publish(self._topics[Subject.QUESTION], encode(question), QOS_AT_LEAST_ONCE)
                repeat_s = now_s + REPEAT_S
            if self._answer is not None:
                return self._answer
        raise Breakdown(self._silence())

    def _turn(self, now_s: float) -> bool:
        """Let the network move; return whether the broker listens to us and we to the station."""
        if self._client.loop(STEP_S) is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._note_cut(now_s)
            if now_s >= self._retry_at_s:
                self._retry_at_s = now_s + RETRY_S
                self._knock()
            else:
                time.sleep(STEP_S)
        return self._listens

    def _note_cut(self, now_s: float) -> None:
        """Leave a broker that knows clients by their users: without a name of our own we would push out the host."""
        if self._listens and self._auditor is None:
            self._brief = self._brief + 1 if now_s - self._listening_s < BRIEF_S else 0
        self._listens = False
        if self._brief >= BRIEF_MAX:
            raise Mistake(f"{self._where} drops us again and again, as if we were the host; name an [auditor]")

    def _knock(self) -> None:
        try:
            self._client.connect(self._broker.host, self._broker.port, KEEPALIVE_S)
        except OSError as error:
            if self._ever_listened:
                return  # a cut: patience decides
            raise Breakdown(f"{self._where} cannot be reached ({error.strerror or error}); is it running?") from error

    def _silence(self) -> str:
        name, waited = "/".join(self._station), f"{self._patience_s:g} s"
        if not self._listens:
            return f"{self._where} did not let us listen within {waited}; try again"
        word = self._last_word
        last = f"its last word at the broker is {word.state.value!r}" if word else "the broker knows no word of it"
        return f"station {name} did not answer within {waited}; {last}; try again when it reports, or with --wait"

    @property
    def _where(self) -> str:
        return f"broker {self._broker.host}:{self._broker.port}"

    def _make_client(self) -> mqtt.Client:
        name = f"{self._broker.client}-{secrets.token_hex(4)}"
        client = mqtt.Client(CallbackAPIVersion.VERSION2, name, reconnect_on_failure=False)
        sign_in(client, self._broker)
        client.on_connect, client.on_subscribe, client.on_message = self._connected, self._subscribed, self._heard
        return client

    def _connected(
        self, client: mqtt.Client, _: Any, __: mqtt.ConnectFlags, reason: ReasonCode, ___: Properties | None
    ) -> None:
        if reason.is_failure:
            raise Mistake(f"{self._where} refuses us: {reason}; check [auditor] or [broker] in the configuration")
        client.subscribe([(self._topics[each], QOS_AT_LEAST_ONCE) for each in (Subject.ANSWER, Subject.HEALTH)])

    def _subscribed(
        self, _: mqtt.Client, __: Any, ___: int, codes: list[ReasonCode], ____: Properties | None
    ) -> None:
        if codes[0].value >= NO_LEAVE:
            raise Mistake(f"{self._where} does not let us hear answers; its access list must name who audits")
        self._listens = self._ever_listened = True
        self._listening_s = time.monotonic()

    def _heard(self, _: mqtt.Client, __: Any, message: mqtt.MQTTMessage) -> None:
        try:
            if message.topic == self._topics[Subject.HEALTH]:
                self._last_word = decode(message.payload, Health)
                return
            answer = decode(message.payload, Answer)
        except MalformedMessage:
            return
        if self._wish and answer.id == self._wish.id and answer.station == self._station[1]:
            self._answer = answer
