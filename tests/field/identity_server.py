"""A small TCP server on port 502 for one connection: `python identity_server.py ADDRESS HOW`; prints what it was sent.

HOW: `answer` (the standard's example), `exception`, `silent`, `drip` (a byte each 0.1 s), `flood` (bytes without end),
`closes`, `web`. It prints `ready`, then the bytes it received as hexadecimal until the far end closes.
"""

from __future__ import annotations

import socket
import sys
import time

# MODBUS Application Protocol Specification V1.1b3 section 6.21, the worked example, with the unit 255 of the request.
BODY = b"\x2b\x0e\x01\x01\x00\x00\x03\x00\x16Company identification\x01\x0fProduct code XX\x02\x05V2.11"


def answer_to(request: bytes, body: bytes = BODY) -> bytes:
    """Return the reply with the transaction of the request."""
    return request[:4] + (1 + len(body)).to_bytes(2, "big") + b"\xff" + body


def speak(connection: socket.socket, how: str, request: bytes) -> None:
    """Behave as the argument HOW says."""
    if how == "answer":
        connection.sendall(answer_to(request))
    elif how == "exception":
        connection.sendall(answer_to(request, b"\xab\x01"))
    elif how == "web":
        connection.sendall(b"HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n")
    elif how == "drip":
        for byte in answer_to(request):
            connection.sendall(bytes([byte]))
            time.sleep(0.1)
    elif how == "flood":
        while True:
            connection.sendall(answer_to(request)[:6] + b"\xff" * 65536)


def serve(address: str, how: str) -> None:
    """Accept one connection and print what was received."""
    with socket.create_server((address, 502)) as server:
        print("ready", flush=True)
        connection, _ = server.accept()
    got = b""
    with connection:
        try:
            while len(got) < 11 and (part := connection.recv(4096)):
                got += part
            if how != "closes":
                speak(connection, how, got)
                while part := connection.recv(4096):
                    got += part
        except OSError:
            pass  # the far end has closed the connection
    print(got.hex(), flush=True)


if __name__ == "__main__":
    serve(*sys.argv[1:])
