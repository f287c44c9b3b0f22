"""Kaldi's binary building blocks: numbers, vectors, matrices, tokens.

As in Kaldi's ``io-funcs.h``, ``kaldi-matrix.cc``, ``kaldi-vector.cc``, ``compressed-matrix.cc``: a
number is preceded by its size in bytes, a token is followed by a space, a matrix begins with its
kind. Two-byte compressed matrices ("CM2") hold ``minimum + range * code / 65535``.
"""

import struct
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]
Weights = Literal["f32", "i16", "i8"]
_CODES = {"i16": (b"CM2 ", 65535, "<u2"), "i8": (b"CM3 ", 255, "u1")}


class KaldiFormatError(ValueError):
    """Bytes that are not what the format says."""


def integer(value: int) -> bytes:
    return b"\x04" + struct.pack("<i", value)


def single(value: float) -> bytes:
    return b"\x04" + struct.pack("<f", value)


def double(value: float) -> bytes:
    return b"\x08" + struct.pack("<d", value)


def integers(values: list[int]) -> bytes:
    return b"\x04" + struct.pack("<i", len(values)) + np.asarray(values, "<i4").tobytes()


def vector(values: npt.ArrayLike) -> bytes:
    array = np.asarray(values, "<f4")
    return b"FV " + integer(len(array)) + array.tobytes()


def matrix(values: npt.ArrayLike, weights: Weights) -> bytes:
    """A matrix, in full or as codes of 16 or 8 bits over its own range."""
    array = np.ascontiguousarray(values, "<f4")
    if weights == "f32":
        return b"FM " + integer(array.shape[0]) + integer(array.shape[1]) + array.tobytes()
    mark, top, kind = _CODES[weights]
    low = float(array.min())
    spread = max(float(array.max()) - low, 1e-6)
    codes = np.clip(np.round((array - low) / spread * top), 0, top).astype(kind)
    return mark + struct.pack("<ffii", low, spread, *array.shape) + codes.tobytes()


class Reader:
    """Walks through the bytes of a binary Kaldi file."""

    def __init__(self, raw: bytes, at: int = 0) -> None:
        self.raw, self.at = raw, at

    def token(self) -> str:
        while self.raw[self.at : self.at + 1] in (b" ", b"\n"):
            self.at += 1
        end = min(
            i for i in (self.raw.find(b" ", self.at), self.raw.find(b"\n", self.at)) if i >= 0
        )
        text = self.raw[self.at : end].decode("ascii")
        self.at = end + 1
        return text

    def number(self) -> float:
        """A float or an int of whatever size is written; ints only where four bytes are ints."""
        size = self.raw[self.at]
        layout = {4: "<f", 8: "<d"}.get(size)
        if layout is None:
            raise KaldiFormatError(f"no number at byte {self.at}")
        (value,) = struct.unpack_from(layout, self.raw, self.at + 1)
        self.at += 1 + size
        return float(value)

    def integer(self) -> int:
        if self.raw[self.at] != 4:
            raise KaldiFormatError(f"no integer at byte {self.at}")
        (value,) = struct.unpack_from("<i", self.raw, self.at + 1)
        self.at += 5
        return int(value)

    def integers(self) -> list[int]:
        count = self.integer()
        values = np.frombuffer(self.raw, "<i4", count, self.at)
        self.at += values.nbytes
        return [int(v) for v in values]

    def boolean(self) -> bool:
        value = self.raw[self.at : self.at + 1]
        if value not in (b"T", b"F"):
            raise KaldiFormatError(f"no truth value at byte {self.at}")
        self.at += 1
        return value == b"T"

    def array(self) -> Array:
        """A vector or a matrix, full or compressed."""
        mark = self.token()
        if mark in ("CM2", "CM3"):
            _, top, kind = _CODES["i16" if mark == "CM2" else "i8"]
            low, spread, rows, columns = struct.unpack_from("<ffii", self.raw, self.at)
            self.at += 16
            codes = self._take(kind, rows * columns).reshape(rows, columns)
            values: Array = (low + spread * (codes / np.float32(top))).astype(np.float32)
            return values
        kind = {"F": "<f4", "D": "<f8"}.get(mark[:1], "")
        if not kind or mark[1:] not in ("M", "V"):
            raise KaldiFormatError(f"no vector or matrix but {mark!r} at byte {self.at}")
        shape = (self.integer(),) if mark[1] == "V" else (self.integer(), self.integer())
        return self._take(kind, int(np.prod(shape))).reshape(shape).astype(np.float32)

    def _take(self, kind: str, count: int) -> npt.NDArray[Any]:
        values = np.frombuffer(self.raw, kind, count, self.at)
        self.at += values.nbytes
        return values
