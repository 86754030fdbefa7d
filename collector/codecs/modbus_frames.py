"""The one Modbus answer that fits the request, found in what a line brings, and what else was there in plain words.

Pure: bytes in, bytes out; the library reads what stands in the answer. Must not do: keep more than one answer's length.

    RTU   device, function, count of bytes, registers, check      (Modbus over serial line v1.02, section 2.5.1)
    TCP   number, 0, length, device, function, count, registers   (Modbus messaging on TCP/IP v1.0b, section 3.1.3)

On a serial line there may be the echo of the request, noise of switching, another device's answer, the second half of
an old one; the answer is where device, function, length and check all fit. A TCP stream has lengths, and noise has no
place in it: what is not Modbus there means that the connection is of no use any more.
"""

from __future__ import annotations

MOST_BYTES = 260
FAULT = 0x80


class NotModbus(ValueError):
    """What came over a TCP connection cannot be Modbus."""


def crc16(data: bytes) -> bytes:
    """The check at the end of an RTU frame, low byte first (Modbus over serial line v1.02, section 6.2.2)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc.to_bytes(2, "little")


class RtuAnswer:
    """Feeds on bytes after a request, gives the whole frame that answers it."""

    def __init__(self, request: bytes) -> None:
        count = int.from_bytes(request[4:6], "big")
        self._request = request
        self._heads = {bytes((*request[:2], 2 * count)): 5 + 2 * count, bytes((request[0], request[1] | FAULT)): 5}
        self._held = b""
        self._heard = self._wrong_check = 0

    def feed(self, data: bytes) -> bytes:
        """The answer, empty while it is not there."""
        self._held += data
        self._heard += len(data)
        start = 0
        while start < len(self._held):
            length = next((n for head, n in self._heads.items() if self._held.startswith(head, start)), 0)
            frame = self._held[start : start + length]
            if length and len(frame) == length:
                if crc16(frame[:-2]) == frame[-2:]:
                    return frame
                self._wrong_check += 1
                # looked at once is enough: the next search begins behind its head
                self._held = self._held[start + 1 :]
                start = 0
            else:
                start += 1
        self._held = self._held[-MOST_BYTES:]
        return b""

    @property
    def heard(self) -> str:
        """Why there is no answer though something came; empty when nothing did but the echo."""
        if self._heard == 0 or (self._heard == len(self._request) and self._held == self._request):
            return ""
        if self._wrong_check:
            return "an answer with a wrong check; is the cable ended, too long or beside a motor?"
        return f"{self._heard} bytes that are not its answer; check baud, parity and the device's number"


class TcpAnswer:
    """Feeds on bytes after a request, gives the whole frame that answers it; answers to older requests are passed."""

    def __init__(self, request: bytes) -> None:
        self._request = request
        self._sizes = (3 + 2 * int.from_bytes(request[10:12], "big"), 3)
        self._held = b""
        self._passed = 0

    def feed(self, data: bytes) -> bytes:
        """The answer, empty while it is not there.

        Raises NotModbus.
        """
        self._held += data
        while len(self._held) >= 8:
            length = int.from_bytes(self._held[4:6], "big")
            if self._held[2:4] != b"\0\0" or not 3 <= length <= MOST_BYTES - 6:
                raise NotModbus(f"what came is not Modbus TCP: {self._held[:8].hex(' ')}")
            if len(self._held) < 6 + length:
                return b""
            frame, self._held = self._held[: 6 + length], self._held[6 + length :]
            if frame[:2] == self._request[:2]:
                return self._fitting(frame)
            self._passed += 1
        return b""

    def _fitting(self, frame: bytes) -> bytes:
        asked_device, asked_function = self._request[6], self._request[7]
        normal, fault = self._sizes
        right = len(frame) == 6 + normal and frame[7] == asked_function and frame[8] == normal - 3
        if frame[6] == asked_device and (right or (len(frame) == 6 + fault and frame[7] == asked_function | FAULT)):
            return frame
        raise NotModbus(f"the answer is for another request: {frame[:12].hex(' ')}")

    @property
    def half(self) -> bool:
        """Whether the beginning of a frame waits for its rest, which would be taken for the next one's beginning."""
        return bool(self._held)

    @property
    def heard(self) -> str:
        """Why there is no answer though something came; empty when nothing did."""
        if self._held:
            return "half an answer"
        return f"{self._passed} answers to older requests; timeout_s is too short for it" if self._passed else ""
