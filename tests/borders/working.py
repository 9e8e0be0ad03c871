"""Work that goes wrong in every way in which foreign code does; done in a worker process by the tests of the guard."""

import ctypes
import os
import signal
import time


def double(number: int) -> int:
    return 2 * number


def process() -> int:
    return os.getpid()


def sleep(seconds: float) -> None:
    time.sleep(seconds)


def hold(mib: int) -> int:
    return len(bytearray(mib * 2**20))


def crash() -> None:
    ctypes.string_at(0)


def abort() -> None:
    os.abort()


def divide() -> None:
    os.kill(os.getpid(), signal.SIGFPE)


def leave() -> None:
    os._exit(7)


def print_then(number: int) -> int:
    os.write(1, b"noise of a library on standard output\n")
    print("more of it")
    return number


def refuse(text: str) -> None:
    raise ValueError(text)


def refuse_without_pickling() -> None:
    class OddError(Exception):
        def __init__(self) -> None:
            super().__init__("odd")
            self.hold = lambda: None
    raise OddError
